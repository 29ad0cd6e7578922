// Looking at bodies: directions, windows of paper onto the machine, outlines of convex bodies.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <string>
#include <utility>
#include <vector>

#include "pivotrace/machine/machine.h"
#include "plan/convex.h"
#include "report/svg.h"

namespace pivotrace::report {

/// One direction of looking: machine directions to the right and upwards on the paper.
struct Sight {
  std::string title;
  Eigen::Vector3d right = Eigen::Vector3d::UnitX();
  Eigen::Vector3d up = Eigen::Vector3d::UnitZ();
  /// From the machine to the eye.
  Eigen::Vector3d towards() const { return right.cross(up); }
};

/// The views of a machine by what is up there: X to the right in front and top view.
Sight front_sight(LinearAxis upward);
Sight side_sight(LinearAxis upward);  ///< from the right
Sight top_sight(LinearAxis upward);

/// "X", "-Y" or nothing for a machine direction, as a triad names it.
std::string direction_letter(const Eigen::Vector3d& direction);

using Outline = std::vector<Point>;

/// Convex hull, counter-clockwise (Andrew's monotone chain, Inf. Proc. Letters 9, 1979).
Outline hull_of(Outline points);
/// What of a convex outline lies in the box (Sutherland and Hodgman, Comm. ACM 17, 1974, from memory).
Outline clipped(const Outline& convex, const Box& box);
/// Slanting lines that fill a convex outline.
std::vector<std::pair<Point, Point>> hatching(const Outline& convex, double spacing);
bool is_inside(const Outline& convex, Point at);

/// A window of paper onto the machine, to scale.
struct Window {
  Sight sight;
  Box paper;
  Eigen::Vector3d middle_mm = Eigen::Vector3d::Zero();  ///< what stands in the middle of it
  double px_per_mm = 1.0;

  Point at(const Eigen::Vector3d& p_mm) const;
  /// A machine direction on the paper, not scaled.
  Point along(const Eigen::Vector3d& direction) const;
  /// Outline of a convex body, not clipped.
  Outline outline(const ConvexBody& body) const;
  /// Outline of the hull of some points, not clipped.
  Outline outline(const std::vector<Eigen::Vector3d>& points_mm) const;
};

}  // namespace pivotrace::report

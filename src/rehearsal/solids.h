// The bodies of a rehearsal: what the work side carries, and the three parts of the probe.
#pragma once

#include <Eigen/Geometry>
#include <string>
#include <vector>

#include "pivotrace/machine/assumed_solids.h"
#include "pivotrace/machine/state.h"
#include "pivotrace/machine/tool_part.h"

namespace pivotrace::rehearsal {

enum class SolidShape { ball, cylinder, box };

/// A simple solid in some frame. Cylinders run along their own z, centred; boxes are centred.
struct Solid {
  SolidShape shape = SolidShape::ball;
  Eigen::Isometry3d pose = Eigen::Isometry3d::Identity();   ///< frame from solid
  double radius_mm = 0.0;                                   ///< ball, cylinder
  double half_length_mm = 0.0;                              ///< cylinder
  Eigen::Vector3d half_sides_mm = Eigen::Vector3d::Zero();  ///< box

  /// Radius of the ball about the solid's centre that holds it.
  double bounding_radius_mm() const;
  Eigen::Vector3d centre_mm() const { return pose.translation(); }
};

/// A solid of the work side, in its carried frame.
struct WorkSolid {
  std::string name;
  int carried_by = -1;
  int artefact = -1;  ///< the artefact this is the surface of; -1: stem, obstacle
  Solid solid;
  int part_of = -1;  ///< the artefact this is one body with: its surface, its stem
};

/// Staves round a bore: their flat faces touch the bore's wall from outside. So many that a corner
/// between two of them is wide by 1 / cos(pi / 48) - 1 = 0.22 % of the radius.
inline constexpr int bore_staves = 48;

/// Everything the work side carries, at its true place.
std::vector<WorkSolid> work_solids(const Machine& machine, const MachineState& state);

/// A part of the probe. Ball: a point with a radius; shank and holder: cylinders.
struct ToolSolid {
  ToolPart part = ToolPart::stylus;
  double radius_mm = 0.0;
  double from_mm = 0.0;  ///< distance of the near end from the ball's centre along the tool axis
  double length_mm = 0.0;

  /// The solid for a ball centre and a tool axis (unit, from the ball into the spindle).
  Solid at(const Eigen::Vector3d& ball_mm, const Eigen::Vector3d& tool_axis) const;
  bool is_ball() const { return part == ToolPart::stylus; }
  /// Distance of its furthest point from the ball's centre.
  double reach_mm() const;
};

/// Ball, shank and holder as far as the machine file states them; what is missing goes to `notes`.
std::vector<ToolSolid> tool_solids(const Machine& machine, const MachineState& state,
                                   std::vector<std::string>& notes);

/// Rotation that takes z to `direction` (unit).
Eigen::Matrix3d z_to(const Eigen::Vector3d& direction);

/// Signed distance of a point to the surface of a solid, negative inside [mm]. Exact.
double point_distance_mm(const Solid& solid, const Eigen::Vector3d& point_mm);

/// A lower bound of the distance, cheap: the widest gap between the shadows of the two on a few
/// lines (their own axes, and square to a cylinder towards the other's centre). Balls: exact [mm].
double separation_bound_mm(const Solid& a, const Solid& b);

/// Distance between two solids, 0 or less when they overlap [mm]. Balls are exact; two others go
/// through the collision library.
double solid_distance_mm(const Solid& a, const Solid& b);

}  // namespace pivotrace::rehearsal

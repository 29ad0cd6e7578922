// Distances between convex bodies, swept along straight moves. Own code, so that the rehearsal's
// collision library is a second, independent judge.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

namespace pivotrace {

/// Convex hull of some points or of a flat-ended cylinder, grown by `radius_mm`, swept along
/// `sweep_mm`. One point = ball, two = rod with round ends, eight = box.
struct ConvexBody {
  std::vector<Eigen::Vector3d> points;
  double radius_mm = 0.0;
  double disc_radius_mm = 0.0;  ///< with two points: flat-ended cylinder of this radius instead
  Eigen::Vector3d sweep_mm = Eigen::Vector3d::Zero();

  /// Furthest point of the body without its rounding in a direction.
  Eigen::Vector3d support(const Eigen::Vector3d& direction) const;
};

ConvexBody ball_body(const Eigen::Vector3d& centre_mm, double radius_mm);
ConvexBody rod_body(const Eigen::Vector3d& from_mm, const Eigen::Vector3d& to_mm, double radius_mm);
ConvexBody cylinder_body(const Eigen::Vector3d& from_mm, const Eigen::Vector3d& to_mm,
                         double radius_mm);

/// Proven lower bound of the distance of two bodies [mm], within `tolerance_mm` of the distance
/// unless the iteration limit was met; negative or 0 when they touch or nothing could be proven.
/// Gilbert's iteration on the difference body: with w = support(-v), v.w/|v| bounds from below.
/// Source: E. G. Gilbert, SIAM J. Control 4 (1966), from memory; bound derived here.
double distance_bound_mm(const ConvexBody& a, const ConvexBody& b, double tolerance_mm = 0.02);

/// True when the bodies are proven to be at least `wanted_mm` apart.
bool apart_by(const ConvexBody& a, const ConvexBody& b, double wanted_mm);

}  // namespace pivotrace

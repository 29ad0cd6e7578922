// Straight lines in space.
#pragma once

#include <Eigen/Core>

namespace pivotrace {

/// A directed straight line. `direction` is a unit vector; `point_mm` any point on it.
struct Line {
  Eigen::Vector3d point_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d direction = Eigen::Vector3d::UnitZ();
};

/// Vector from the nearest point of the line to `p_mm` (perpendicular to the line) [mm].
Eigen::Vector3d perpendicular_from_line(const Line& line, const Eigen::Vector3d& p_mm);

/// Point where the line meets the plane normal . p = offset_mm.
/// Degenerate when the line runs along the plane: then the result is not finite.
Eigen::Vector3d pierce_plane(const Line& line, const Eigen::Vector3d& normal, double offset_mm);

/// How two lines lie to each other.
struct CommonNormal {
  bool parallel = false;  ///< crossing angle below `parallel_limit_rad`: feet are not defined
  double signed_distance_mm = 0.0;  ///< along (first x second): changes sign when the lines cross
  double crossing_rad = 0.0;        ///< angle between the directions, 0..pi
  Eigen::Vector3d foot_on_first_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d foot_on_second_mm = Eigen::Vector3d::Zero();
};

/// Below this crossing angle the feet of the common normal run away along the lines
/// (1 um of sideways error moves them by more than 0.5 m), so they are not stated.
inline constexpr double parallel_limit_rad = 2e-6;

/// Common normal of two lines: n = u1 x u2, distance = (p2 - p1) . n / |n|, and for parallel
/// lines the plain distance between them. Frames: both lines in one frame, mm.
CommonNormal common_normal(const Line& first, const Line& second);

}  // namespace pivotrace

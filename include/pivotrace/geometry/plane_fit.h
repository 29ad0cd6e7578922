// Least-squares plane.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

struct PlaneFit {
  FitStatus status = FitStatus::not_started;
  Eigen::Vector3d centroid_mm = Eigen::Vector3d::Zero();  ///< a point of the plane
  Eigen::Vector3d normal = Eigen::Vector3d::Zero();       ///< unit; sign: largest component > 0
  double rms_mm = -1.0;     ///< root mean square distance of the points from the plane
  double condition = -1.0;  ///< largest eigenvalue over the gap between the two smallest
};

/// Plane with the smallest sum of squared perpendicular distances.
/// Equation: minimise sum (n . (p_i - m))^2 over |n| = 1; m = centroid, n = eigenvector of
/// S = sum (p_i - m)(p_i - m)' to its smallest eigenvalue (total least squares). 9 running sums.
/// Points Nx3 in any one frame, mm. Assumes equal, uncorrelated errors in all directions.
/// Source: standard result, e.g. C. M. Shakarji, J. Res. NIST 103 (1998) 633, sections 2 and 3.
/// Accuracy: `fit_round_off`. Needs 3 points; collinear points, or a cloud as thick as it is wide
/// (two smallest eigenvalues equal: no plane is better than another), are `degenerate`.
PlaneFit fit_plane(std::span<const Eigen::Vector3d> points_mm);

}  // namespace pivotrace

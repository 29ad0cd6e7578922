// Least-squares straight line.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"
#include "pivotrace/geometry/line.h"

namespace pivotrace {

struct LineFit {
  FitStatus status = FitStatus::not_started;
  Line line;                ///< through the centroid; sign: largest component of direction > 0
  double rms_mm = -1.0;     ///< root mean square perpendicular distance of the points
  double condition = -1.0;  ///< largest eigenvalue over the gap between the two largest
};

/// Line with the smallest sum of squared perpendicular distances.
/// Equation: through the centroid m, direction = eigenvector of sum (p_i - m)(p_i - m)' to its
/// largest eigenvalue (total least squares). 9 running sums.
/// Points Nx3 in any one frame, mm. Assumes equal, uncorrelated errors in all directions.
/// Source: standard result, e.g. C. M. Shakarji, J. Res. NIST 103 (1998) 633, section 3.
/// Accuracy: `fit_round_off`. Needs 2 points; coincident points, or two equal longest half-axes
/// (a disc or a ball of points), are `degenerate`.
LineFit fit_line(std::span<const Eigen::Vector3d> points_mm);

}  // namespace pivotrace

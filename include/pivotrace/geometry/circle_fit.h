// Least-squares circles, in a plane and in space.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

struct CircleFit {
  FitStatus status = FitStatus::not_started;
  Eigen::Vector2d centre_mm = Eigen::Vector2d::Zero();
  double radius_mm = -1.0;
  double rms_mm = -1.0;     ///< root mean square of |p - centre| - radius
  double condition = -1.0;  ///< of the design matrix at the solution, cloud units
  /// (J'J)^-1 for (x, y, radius), J the derivatives of |p - centre| - radius. 3x3.
  Eigen::Matrix3d cofactor = Eigen::Matrix3d::Zero();
  int iterations = -1;  ///< 0 for the algebraic fit
};

/// Algebraic circle: one linear solution.
/// Equation: |p|^2 = 2 c.p + k in coordinates about the centroid, r^2 = |c|^2 + k, solved through a
/// running triangular factor (3x3). Points Nx2, mm. Assumes errors small beside the radius.
/// Source: I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8.
/// Accuracy: `fit_round_off` on exact points. Needs 3 points; collinear points are `degenerate`.
CircleFit fit_circle_algebraic(std::span<const Eigen::Vector2d> points_mm);

/// Geometric circle: minimises sum (|p_i - c| - r)^2 over c and r.
/// Gauss-Newton from the algebraic circle, damped only when a step does not lower the sum.
/// Points Nx2, mm. Assumes independent equal errors along the radius.
/// Source: W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558.
/// Accuracy: `fit_round_off`. Needs 3 points; collinear points are `degenerate`.
CircleFit fit_circle(std::span<const Eigen::Vector2d> points_mm);

struct SpaceCircleFit {
  FitStatus status = FitStatus::not_started;
  Eigen::Vector3d centre_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d normal = Eigen::Vector3d::Zero();  ///< unit; sign: largest component > 0
  double radius_mm = -1.0;
  double rms_in_plane_mm = -1.0;      ///< of |p - centre| - radius after projection into the plane
  double rms_out_of_plane_mm = -1.0;  ///< of the distances from the plane
  double condition = -1.0;            ///< the larger one of plane and circle
  int iterations = -1;
};

/// Circle in space in two steps: least-squares plane, then the geometric circle of the points
/// projected into it (the convention of the NIST reference circles; for small deviations it
/// differs from the joint fit by second-order terms only).
/// Points Nx3, mm. Assumptions, sources and accuracy: fit_plane and fit_circle.
/// Needs 3 points; collinear points are `degenerate`.
SpaceCircleFit fit_circle_in_space(std::span<const Eigen::Vector3d> points_mm);

/// The same with the algebraic circle in the plane: no iteration at all.
SpaceCircleFit fit_circle_in_space_algebraic(std::span<const Eigen::Vector3d> points_mm);

}  // namespace pivotrace

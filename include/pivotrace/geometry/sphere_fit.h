// Least-squares spheres: algebraic (closed form) and geometric, radius free or known.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

struct SphereFit {
  FitStatus status = FitStatus::not_started;
  Eigen::Vector3d centre_mm = Eigen::Vector3d::Zero();
  double radius_mm = -1.0;
  double rms_mm = -1.0;     ///< root mean square of |p - centre| - radius
  double condition = -1.0;  ///< of the design matrix at the solution, cloud units
  /// (J'J)^-1 for (x, y, z, radius), J the derivatives of |p - centre| - radius: times the variance
  /// of one normal error it is the covariance. Known radius: last row and column are 0. 4x4.
  Eigen::Matrix4d cofactor = Eigen::Matrix4d::Zero();
  int iterations = -1;  ///< 0 for the algebraic fit
};

/// Algebraic sphere: one linear solution.
/// Equation: |p|^2 = 2 c.p + k in coordinates about the centroid, r^2 = |c|^2 + k, solved through a
/// running triangular factor (4x4). Points Nx3, mm. Assumes errors small beside the radius: on a
/// part cap of extent w the radius comes out small by about (sigma/w)^2 of itself, which is far
/// below its standard deviation for metrology data.
/// Source: I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8, in three dimensions.
/// Accuracy: `fit_round_off` on exact points. Needs 4 points; coplanar points are `degenerate`.
SphereFit fit_sphere_algebraic(std::span<const Eigen::Vector3d> points_mm);

/// Geometric sphere: minimises sum (|p_i - c| - r)^2 over c and r.
/// Gauss-Newton from the algebraic sphere, damped only when a step does not lower the sum.
/// Points Nx3, mm. Assumes independent equal errors along the normal.
/// Source: A. B. Forbes, NPL report DITC 140/89 (1989); C. M. Shakarji, J. Res. NIST 103 (1998) 633.
/// Accuracy: `fit_round_off`; checked against the NIST reference pairs. Needs 4 points not in a
/// plane (`degenerate` otherwise).
SphereFit fit_sphere(std::span<const Eigen::Vector3d> points_mm);

/// Geometric sphere of known radius: minimises sum (|p_i - c| - r)^2 over c alone.
/// `near_mm` is a rough centre; of two mirrored solutions the one it leads to is taken.
/// Points Nx3, mm; radius_mm > 0 must be the effective one (ball + stylus for stylus centres).
/// Same method, source and accuracy as fit_sphere. Needs 3 points; points from which the centre
/// cannot be told (collinear, or on a great circle: nothing holds the centre along its normal)
/// are `degenerate`.
SphereFit fit_sphere_of_radius(std::span<const Eigen::Vector3d> points_mm, double radius_mm,
                               const Eigen::Vector3d& near_mm);

}  // namespace pivotrace

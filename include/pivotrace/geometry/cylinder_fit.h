// Least-squares cylinder.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"
#include "pivotrace/geometry/line.h"

namespace pivotrace {

struct CylinderFit {
  FitStatus status = FitStatus::not_started;
  Line axis;  ///< point nearest to the centroid; sign: largest component of direction > 0
  double radius_mm = -1.0;
  double rms_mm = -1.0;     ///< root mean square of distance to the axis - radius
  double condition = -1.0;  ///< of the design matrix at the solution, cloud units
  int iterations = -1;      ///< of the winning start
};

/// Geometric cylinder: minimises sum (distance of p_i to the axis - r)^2 over axis line and r.
/// Start, in closed form from 69 running sums (moments up to the fourth order): for a direction w
/// the algebraic circle of the points projected along w, and its sum of squares, follow from the
/// moments alone; the six best well-separated directions of a grid on the half-sphere are
/// refined by damped Gauss-Newton (4 unknowns of the line, 1 radius) and the best minimum wins.
/// Points Nx3, mm. Assumes independent equal errors along the normal, and points that lie on one
/// cylinder to within a fraction of its radius.
/// Source: geometric step C. M. Shakarji, J. Res. NIST 103 (1998) 633; the start is derived here.
/// Accuracy: `fit_round_off`; checked against the NIST reference pairs. Needs 6 points (through 5
/// there are up to six exact cylinders); points that do not fix an axis (all on one circle, on a
/// plane, on a line) are `degenerate`.
CylinderFit fit_cylinder(std::span<const Eigen::Vector3d> points_mm);

}  // namespace pivotrace

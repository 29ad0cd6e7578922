// The axis of a turning ball in closed form, from running sums that also fit into a control.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"
#include "pivotrace/geometry/line.h"
#include "pivotrace/geometry/planar_sums.h"

namespace pivotrace {

/// Reciprocal condition of the 3x3 normal matrix below which the angles count as too few or too
/// close together: three angles a degree apart pass, three a tenth of a degree apart do not.
inline constexpr double angle_spread_limit = 1e-12;

/// Below this sine of the angle between U and V the positions lie on a straight line.
inline constexpr double collinear_limit = 1e-9;

/// Axis regression: c + U cos t + V sin t through ball centres at known angles.
struct AxisRegression {
  FitStatus status = FitStatus::not_started;
  Line axis;  ///< through the orbit's centre; positive angles turn right-handed about `direction`
  Eigen::Vector3d cosine_arm_mm = Eigen::Vector3d::Zero();  ///< U
  Eigen::Vector3d sine_arm_mm = Eigen::Vector3d::Zero();    ///< V
  double radius_mm = -1.0;                                  ///< sqrt((|U|^2 + |V|^2) / 2)
  double arm_length_difference_mm = 0.0;                    ///< |U| - |V|; 0 for a rigid turn
  double arm_product_mm2 = 0.0;                             ///< U . V; 0 for a rigid turn
  double rms_mm = -1.0;     ///< of one coordinate about the regression; -1 from running sums alone
  double condition = -1.0;  ///< of the normal matrix
  /// (A'A)^-1 for (c, U, V) of one coordinate, A the rows (1, cos t, sin t). 3x3.
  Eigen::Matrix3d cofactor = Eigen::Matrix3d::Zero();
};

/// Running sums of the axis regression: 15 numbers, whatever the number of readings.
/// Equation: p = c + U cos t + V sin t for each of x, y, z; one 3x3 normal matrix
/// (N, Sc, Ss; Scc, Scs; Sss) serves all three; n = U x V / |U x V|.
/// Frames and units: ball centres in any one non-turning frame [mm], angles of the one axis
/// turned [rad], any spacing, partial arcs included. Give s*t for an axis of turn sense s to have
/// `direction` along its positive linear direction.
/// Assumes equal, uncorrelated errors of all coordinates and exact angles; because |U| = |V| and
/// U . V = 0 are not imposed, both are left over as free checks of index, scale and squareness.
/// Source: derived here; every ingredient is linear least squares.
/// Accuracy: relative round-off eps * condition of what remains after the shift to `origin_mm`,
/// so take the nominal centre, or any reading, as the origin.
/// Degenerate: fewer than three different angles (or all within a fraction of a degree),
/// positions on a straight line, ball on the axis.
class AxisSums {
 public:
  explicit AxisSums(const Eigen::Vector3d& origin_mm = Eigen::Vector3d::Zero())
      : origin_mm_(origin_mm) {}

  void add(double angle_rad, const Eigen::Vector3d& ball_mm);
  AxisRegression solve() const;

 private:
  Eigen::Vector3d origin_mm_;
  Eigen::Matrix3d normal_ = Eigen::Matrix3d::Zero();  ///< lower triangle used: 6 sums
  Eigen::Matrix3d right_ = Eigen::Matrix3d::Zero();   ///< columns x, y, z: 9 sums
};

/// All readings at once, about their centroid, with the residual scatter from a second pass.
/// Lengths that differ are `too_few_points`.
AxisRegression axis_regression(std::span<const double> angles_rad,
                               std::span<const Eigen::Vector3d> balls_mm);

/// Rigid planar turn c + R(t) b: what the regression gives when the angles are trusted.
struct PlanarTurn {
  FitStatus status = FitStatus::not_started;
  Eigen::Vector2d centre_mm = Eigen::Vector2d::Zero();  ///< c
  Eigen::Vector2d arm_mm = Eigen::Vector2d::Zero();     ///< b: ball minus centre at t = 0
  /// Standard deviation of each coordinate of c per standard deviation of one coordinate of one
  /// reading: 1 / sqrt(N (1 - |mean of e|^2)).
  double centre_sigma_factor = -1.0;
  double rms_mm = -1.0;  ///< of one coordinate; round-off floor `planar_turn_rms_floor` * radius
};

/// Below this fraction of the orbit radius `PlanarTurn::rms_mm` is round-off, because it comes
/// from a difference of running sums.
inline constexpr double planar_turn_rms_floor = 1e-7;

/// Below this 1 - |mean of e|^2 the angles do not spread.
inline constexpr double planar_turn_spread_limit = 1e-10;

/// Running sums of the known-angle regression in the orbit plane: 8 numbers. Equation:
/// planar_sums.h. x and y in a right-handed frame seen against the axis direction [mm], angles [rad] right-handed.
/// Assumes a rigid turn, exact angles, equal uncorrelated errors. On a full circle of equally
/// spaced angles c is the mean of the positions; two opposite angles are enough.
/// Degenerate: all angles equal (or nearly so).
class PlanarTurnSums {
 public:
  explicit PlanarTurnSums(const Eigen::Vector2d& origin_mm = Eigen::Vector2d::Zero())
      : origin_mm_(origin_mm) {}

  void add(double angle_rad, const Eigen::Vector2d& ball_mm);
  PlanarTurn solve() const;

 private:
  Eigen::Vector2d origin_mm_;
  PlanarSums<double> sums_{};
  double squares_ = 0.0;  ///< sum of x^2 + y^2
};

}  // namespace pivotrace

#include "pivotrace/geometry/axis_regression.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "geometry/cloud.h"

namespace pivotrace {
namespace {

Eigen::Vector3d angle_row(double angle_rad) {
  return {1.0, std::cos(angle_rad), std::sin(angle_rad)};
}

/// U and V to axis direction, radius and the checks; or the reason why not.
void finish(AxisRegression& result, double round_off_mm) {
  const Eigen::Vector3d& u = result.cosine_arm_mm;
  const Eigen::Vector3d& v = result.sine_arm_mm;
  const double arms_squared = u.squaredNorm() + v.squaredNorm();
  result.radius_mm = std::sqrt(0.5 * arms_squared);
  result.arm_length_difference_mm = u.norm() - v.norm();
  result.arm_product_mm2 = u.dot(v);
  const Eigen::Vector3d normal = u.cross(v);
  const bool on_axis = !(result.radius_mm > round_off_mm);
  const bool collinear = !(normal.norm() > collinear_limit * 0.5 * arms_squared);
  result.status = on_axis || collinear ? FitStatus::degenerate : FitStatus::done;
  if (result.status == FitStatus::done) result.axis.direction = normal.normalized();
}

}  // namespace

void AxisSums::add(double angle_rad, const Eigen::Vector3d& ball_mm) {
  const Eigen::Vector3d row = angle_row(angle_rad);
  const Eigen::Vector3d shifted = ball_mm - origin_mm_;
  normal_ += row.lazyProduct(row.transpose());
  right_ += row.lazyProduct(shifted.transpose());
}

AxisRegression AxisSums::solve() const {
  AxisRegression result;
  if (!normal_.allFinite() || !right_.allFinite()) {
    result.status = FitStatus::not_finite;
    return result;
  }
  const double count = normal_(0, 0);
  if (count < 3.0) {
    result.status = FitStatus::too_few_points;
    return result;
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(normal_);
  const Eigen::Vector3d& eigenvalues = solver.eigenvalues();
  result.condition = eigenvalues[2] / std::max(eigenvalues[0], 0.0);
  if (!(eigenvalues[0] > angle_spread_limit * eigenvalues[2])) {
    result.status = FitStatus::degenerate;
    return result;
  }
  const Eigen::Matrix3d half =
      solver.eigenvectors() * eigenvalues.cwiseInverse().cwiseSqrt().asDiagonal();
  result.cofactor = half.lazyProduct(half.transpose());
  const Eigen::Matrix3d solution = result.cofactor.lazyProduct(right_);  // rows c, U, V
  result.axis.point_mm = origin_mm_ + solution.row(0).transpose();
  result.cosine_arm_mm = solution.row(1).transpose();
  result.sine_arm_mm = solution.row(2).transpose();
  const double reach_mm = right_.cwiseAbs().maxCoeff() / count + origin_mm_.cwiseAbs().maxCoeff();
  finish(result, fit_round_off * result.condition * reach_mm);
  return result;
}

AxisRegression axis_regression(std::span<const double> angles_rad,
                               std::span<const Eigen::Vector3d> balls_mm) {
  AxisRegression result;
  const Cloud<3> cloud = measure_cloud<3>(balls_mm, 3);
  result.status = cloud.status;
  if (angles_rad.size() != balls_mm.size()) result.status = FitStatus::too_few_points;
  if (result.status != FitStatus::done) return result;

  AxisSums sums(cloud.centroid_mm);
  for (std::size_t i = 0; i < balls_mm.size(); ++i) sums.add(angles_rad[i], balls_mm[i]);
  result = sums.solve();
  if (result.status != FitStatus::done) return result;

  double squares = 0.0;
  for (std::size_t i = 0; i < balls_mm.size(); ++i) {
    const Eigen::Vector3d expected = result.axis.point_mm +
                                     result.cosine_arm_mm * std::cos(angles_rad[i]) +
                                     result.sine_arm_mm * std::sin(angles_rad[i]);
    squares += (balls_mm[i] - expected).squaredNorm();
  }
  result.rms_mm = std::sqrt(squares / (3.0 * static_cast<double>(balls_mm.size())));
  return result;
}

void PlanarTurnSums::add(double angle_rad, const Eigen::Vector2d& ball_mm) {
  const Eigen::Vector2d z = ball_mm - origin_mm_;
  const PlanarSums<double> more =
      planar_summands(std::cos(angle_rad), std::sin(angle_rad), z.x(), z.y());
  sums_.count += more.count;
  sums_.cosines += more.cosines;
  sums_.sines += more.sines;
  sums_.x += more.x;
  sums_.y += more.y;
  sums_.along += more.along;
  sums_.across += more.across;
  squares_ += z.squaredNorm();
}

PlanarTurn PlanarTurnSums::solve() const {
  PlanarTurn turn;
  const double count = sums_.count;
  if (count < 2.0) {
    turn.status = FitStatus::too_few_points;
    return turn;
  }
  if (!std::isfinite(squares_) || !std::isfinite(sums_.cosines)) {
    turn.status = FitStatus::not_finite;
    return turn;
  }
  const PlanarSolution<double> solved =
      planar_solution(sums_, [](PlanarPart, double value) { return value; });
  if (!(solved.spread > planar_turn_spread_limit * count)) {
    turn.status = FitStatus::degenerate;
    return turn;
  }
  turn.arm_mm = {solved.arm_x, solved.arm_y};
  turn.centre_mm = origin_mm_ + Eigen::Vector2d(solved.centre_x, solved.centre_y);
  turn.centre_sigma_factor = 1.0 / std::sqrt(solved.spread);
  const Eigen::Vector2d z(sums_.x / count, sums_.y / count);
  const double left =
      squares_ - count * z.squaredNorm() - solved.spread * turn.arm_mm.squaredNorm();
  turn.rms_mm = std::sqrt(std::max(left, 0.0) / (2.0 * count));
  turn.status = FitStatus::done;
  return turn;
}

}  // namespace pivotrace

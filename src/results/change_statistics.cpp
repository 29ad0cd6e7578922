#include "pivotrace/results/change_statistics.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/distributions/non_central_f.hpp>
#include <cmath>

#include "pivotrace/results/statistics.h"
#include "results/quiet_policy.h"

namespace pivotrace {

namespace {

namespace bm = boost::math;

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
constexpr double visible_level = 0.01;
constexpr double visible_power = 0.80;
/// From here on F(h, dof) and chi-squared / h differ by less than the tests can notice.
constexpr double endless_dof = 1e6;

bool is_level(double p) { return p > 0.0 && p < 1.0; }

}  // namespace

double f_test_power(double alpha, double h, double dof, double lambda) {
  if (!is_level(alpha) || !(h > 0.0) || !(dof > 0.0) || !(lambda >= 0.0)) return not_a_number;
  if (lambda == 0.0) return alpha;
  if (dof >= endless_dof) {
    const double limit = chi_squared_quantile(1.0 - alpha, h);
    return bm::cdf(
        bm::complement(bm::non_central_chi_squared_distribution<double, Quiet>(h, lambda), limit));
  }
  const double limit = f_quantile(1.0 - alpha, h, dof);
  return bm::cdf(
      bm::complement(bm::non_central_f_distribution<double, Quiet>(h, dof, lambda), limit));
}

// Power grows with lambda: doubling finds a bracket, bisection the root.
double f_test_noncentrality(double alpha, double power, double h, double dof) {
  const bool sensible = is_level(alpha) && power > alpha && power < 1.0 && h > 0.0 && dof > 0.0;
  if (!sensible) return not_a_number;
  if (dof >= endless_dof) return detectable_noncentrality(alpha, power, h);
  double high = 16.0;
  while (f_test_power(alpha, h, dof, high) < power && high < 1e9) high *= 2.0;
  double low = 0.0;
  for (int step = 0; step < 60 && high - low > 1e-9 * high; ++step) {
    const double middle = 0.5 * (low + high);
    (f_test_power(alpha, h, dof, middle) < power ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

double smallest_seen(double u, double dof, double B) {
  if (!(u >= 0.0) || !(B >= 0.0)) return not_a_number;
  return std::sqrt(f_test_noncentrality(visible_level, visible_power, 1.0, dof)) * u + B;
}

namespace {

/// Rows W with W C W' = 1 on the directions C knows: changes scaled to unit variance first, so that mm
/// and rad do not decide what is small.
Eigen::MatrixXd whitening(const Eigen::MatrixXd& covariance) {
  constexpr double negligible = 1e-12;
  const Eigen::VectorXd scale = covariance.diagonal().cwiseMax(0.0).cwiseSqrt().unaryExpr(
      [](double s) { return s > 0.0 ? 1.0 / s : 0.0; });
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(scale.asDiagonal() * covariance *
                                                             scale.asDiagonal());
  const Eigen::VectorXd& values = eigen.eigenvalues();
  Eigen::Index first = 0;
  while (first < values.size() && values[first] <= negligible * values.cwiseAbs().maxCoeff())
    ++first;
  const Eigen::Index rank = values.size() - first;
  return values.tail(rank).cwiseSqrt().cwiseInverse().asDiagonal() *
         eigen.eigenvectors().rightCols(rank).transpose() * scale.asDiagonal();
}

Congruency tested(double squared_length, Eigen::Index rank, double dof) {
  Congruency test;
  test.h = static_cast<int>(rank);
  test.dof = dof;
  if (rank == 0 || !(dof > 0.0) || !std::isfinite(squared_length)) return test;
  test.statistic = squared_length / static_cast<double>(rank);
  test.probability = 1.0 - f_cdf(test.statistic, test.h, dof);
  return test;
}

/// b within +-w that brings d - G b nearest to 0: coordinate by coordinate, which converges because the
/// sum of squares is convex and the bounds are a box.
Eigen::VectorXd nearest_bias(const Eigen::VectorXd& d, const Eigen::MatrixXd& gains,
                             const Eigen::VectorXd& half_widths) {
  Eigen::VectorXd bias = Eigen::VectorXd::Zero(gains.cols());
  Eigen::VectorXd left = d;
  constexpr int sweeps = 500;
  for (int sweep = 0; sweep < sweeps; ++sweep) {
    double largest = 0.0;
    for (Eigen::Index j = 0; j < gains.cols(); ++j) {
      const double square = gains.col(j).squaredNorm();
      if (square == 0.0) continue;
      const double wanted = bias[j] + gains.col(j).dot(left) / square;
      const double next = std::clamp(wanted, -half_widths[j], half_widths[j]);
      const double step = next - bias[j];
      left -= step * gains.col(j);
      bias[j] = next;
      largest = std::max(largest, std::abs(step) * std::sqrt(square));
    }
    if (largest < 1e-10) break;
  }
  return bias;
}

bool fits(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance) {
  return covariance.rows() == change.size() && covariance.cols() == change.size() &&
         change.size() > 0 && change.allFinite() && covariance.allFinite();
}

}  // namespace

Congruency congruency(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                      double dof) {
  if (!fits(change, covariance)) return {};
  const Eigen::MatrixXd whiten = whitening(covariance);
  return tested((whiten * change).squaredNorm(), whiten.rows(), dof);
}

BiasGrant::BiasGrant(const Eigen::MatrixXd& covariance, const Eigen::MatrixXd& gains,
                     const Eigen::VectorXd& half_widths)
    : half_widths_(half_widths) {
  sensible_ = covariance.rows() > 0 && covariance.rows() == covariance.cols() &&
              covariance.allFinite() && gains.rows() == covariance.rows() &&
              gains.cols() == half_widths.size() && gains.allFinite() &&
              (half_widths.array() >= 0.0).all();
  if (!sensible_) return;
  whiten_ = whitening(covariance);
  gains_ = whiten_ * gains;
}

BiasGrant::Left BiasGrant::left_of(const Eigen::VectorXd& change) const {
  Left left;
  if (!sensible_ || change.size() != whiten_.cols() || !change.allFinite()) return left;
  const Eigen::VectorXd seen = whiten_ * change;
  const Eigen::VectorXd rest = seen - gains_ * nearest_bias(seen, gains_, half_widths_);
  left.squared_length = rest.squaredNorm();
  left.h = static_cast<int>(whiten_.rows());
  if (left.squared_length > 0.0) {
    const Eigen::VectorXd along = gains_.transpose() * rest / rest.norm();
    left.bias_variance = along.cwiseProduct(half_widths_).squaredNorm() / 3.0;
  }
  return left;
}

Congruency congruency_beside(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                             double dof, const Eigen::MatrixXd& bias_gains,
                             const Eigen::VectorXd& half_widths) {
  const BiasGrant::Left left = BiasGrant(covariance, bias_gains, half_widths).left_of(change);
  return left.h > 0 ? tested(left.squared_length, left.h, dof) : Congruency();
}

Equivalence equivalence(double change, double u, double dof, double low, double high, double B,
                        double alpha) {
  Equivalence test;
  const bool sensible =
      std::isfinite(change) && u > 0.0 && dof > 0.0 && low < high && B >= 0.0 && is_level(alpha);
  if (!sensible) return test;
  test.t_above = (change - (low + B)) / u;
  test.t_below = (change - (high - B)) / u;
  const double limit = student_t_quantile(1.0 - alpha, dof);
  test.within = test.t_above > limit && test.t_below < -limit;
  return test;
}

WelchDifference welch_difference(double old_value, double old_u, double old_dof, double new_value,
                                 double new_u, double new_dof) {
  WelchDifference result;
  result.difference = new_value - old_value;
  result.u = std::hypot(old_u, new_u);
  const double contributions[] = {old_u, new_u};
  const double dofs[] = {old_dof, new_dof};
  result.dof = effective_dof(contributions, dofs);
  return result;
}

}  // namespace pivotrace

#include "pivotrace/results/change_statistics.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/distributions/non_central_f.hpp>
#include <cmath>
#include <optional>
#include <utility>

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

Congruency tested(double squared_length, Eigen::Index rank, const ScaledF& reference) {
  Congruency test;
  test.h = static_cast<int>(rank);
  test.dof = reference.dof;
  test.scale = reference.scale;
  const bool sensible = rank > 0 && reference.dof > 0.0 && reference.scale > 0.0;
  if (!sensible || !std::isfinite(squared_length)) return test;
  test.statistic = squared_length / static_cast<double>(rank);
  test.probability = 1.0 - f_cdf(test.statistic / test.scale, test.h, test.dof);
  return test;
}

/// b within +-w that brings d - G b nearest to 0: coordinate by coordinate, which converges because the
/// sum of squares is convex and the bounds are a box.
class NearestBias {
 public:
  NearestBias(const Eigen::VectorXd& d, const Eigen::MatrixXd& gains,
              const Eigen::VectorXd& half_widths)
      : gains_(gains),
        half_widths_(half_widths),
        bias_(Eigen::VectorXd::Zero(gains.cols())),
        left_(d) {}

  const Eigen::VectorXd& left() const { return left_; }

  /// Once through all coordinates; the largest change of what is left.
  double sweep() {
    double largest = 0.0;
    for (Eigen::Index j = 0; j < gains_.cols(); ++j) {
      const double square = gains_.col(j).squaredNorm();
      if (square == 0.0) continue;
      const double wanted = bias_[j] + gains_.col(j).dot(left_) / square;
      const double next = std::clamp(wanted, -half_widths_[j], half_widths_[j]);
      const double step = next - bias_[j];
      left_ -= step * gains_.col(j);
      bias_[j] = next;
      largest = std::max(largest, std::abs(step) * std::sqrt(square));
    }
    return largest;
  }

  /// What is left of `d` is at least this, whatever the bias: along the direction of what is left now no
  /// bias takes away more than at its bounds.
  double least_left(const Eigen::VectorXd& d) const {
    const double length = left_.norm();
    if (!(length > 0.0)) return 0.0;
    const double taken = (gains_.transpose() * left_).cwiseAbs().dot(half_widths_);
    return std::max(0.0, (d.dot(left_) - taken) / length);
  }

 private:
  const Eigen::MatrixXd& gains_;
  const Eigen::VectorXd& half_widths_;
  Eigen::VectorXd bias_;
  Eigen::VectorXd left_;
};

constexpr int most_sweeps = 500;
constexpr double settled_step = 1e-10;

bool fits(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance) {
  return covariance.rows() == change.size() && covariance.cols() == change.size() &&
         change.size() > 0 && change.allFinite() && covariance.allFinite();
}

}  // namespace

Congruency congruency(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                      const ScaledF& reference) {
  if (!fits(change, covariance)) return {};
  const Eigen::MatrixXd whiten = whitening(covariance);
  return tested((whiten * change).squaredNorm(), whiten.rows(), reference);
}

namespace {

constexpr double least_dof = 4.25;

/// Degrees of freedom of a variance; none where it is exact.
std::optional<double> dof_of(double relative_variance) {
  if (!(relative_variance > 0.0)) return std::nullopt;
  return std::max(least_dof, 2.0 / relative_variance);
}

/// E f where log f has its mode at 0, and this is E log f + V / 2. Of n / chi2(n), where it is 2 / n, exact.
double mean_beside(double shift) { return 1.0 / (1.0 - std::min(shift, 2.0 / least_dof)); }

/// What a survey says of the logarithms of its variances, to third order.
class Found {
 public:
  Found(const Eigen::MatrixXd& errors, const Eigen::VectorXd& stated_dof)
      : errors_(errors),
        stated_(0.5 * stated_dof),
        seen_(errors.ldlt().solve(Eigen::MatrixXd::Identity(errors.rows(), errors.cols()))) {
    seen_ = seen_.cwiseMax(0.0);
    seen_.diagonal() = (seen_.diagonal() - stated_).cwiseMax(0.0);
    in_all_ = seen_.rowwise().sum();
  }

  Eigen::VectorXd means() const {
    const Eigen::Index count = errors_.rows();
    Eigen::VectorXd pull(count);
    for (Eigen::Index m = 0; m < count; ++m) {
      pull[m] = 0.0;
      for (Eigen::Index k = 0; k < count; ++k) {
        for (Eigen::Index l = 0; l < count; ++l) pull[m] += third(m, k, l) * errors_(k, l);
      }
    }
    const Eigen::VectorXd shifts = 0.5 * (errors_ * pull + errors_.diagonal());
    return shifts.unaryExpr(&mean_beside);
  }

 private:
  double third(Eigen::Index m, Eigen::Index k, Eigen::Index l) const {
    double sum = 2.0 * together(m, k, l);
    if (m == k) sum -= seen_(m, l);
    if (m == l) sum -= seen_(m, k);
    if (k == l) sum -= seen_(k, m);
    if (m == k && k == l) sum += stated_[m];
    return sum;
  }

  double together(Eigen::Index m, Eigen::Index k, Eigen::Index l) const {
    double cube = 1.0;
    double shares = 1.0;
    for (const auto& [g, next] : {std::pair(m, k), std::pair(k, l), std::pair(l, m)}) {
      if (!(seen_(g, g) > 0.0)) return 0.0;
      cube *= in_all_[g] * in_all_[g] / seen_(g, g);
      shares *= seen_(g, next) / in_all_[g];
    }
    return 2.0 * std::cbrt(cube) * shares;
  }

  const Eigen::MatrixXd& errors_;
  Eigen::VectorXd stated_;
  Eigen::MatrixXd seen_;    ///< J
  Eigen::VectorXd in_all_;  ///< r
};

double trace_of_product(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b) {
  return a.cwiseProduct(b.transpose()).sum();
}

/// E = s h m / (m - 2) and V / E^2 = 2 (h + m - 2) / (h (m - 4)) of s h F(h, m), solved for s and m.
ScaledF of_moments(double mean, double variance, double h) {
  const double q = variance / (mean * mean);
  const double excess = q * h - 2.0;
  if (!(excess > 0.0)) return {std::numeric_limits<double>::infinity(), mean / h};
  const double dof = (4.0 * q * h + 2.0 * h - 4.0) / excess;
  return {dof, mean / h * (dof - 2.0) / dof};
}

}  // namespace

VarianceErrors independent_variances(const Eigen::MatrixXd& errors) {
  return {errors, errors.diagonal().unaryExpr(&mean_beside)};
}

VarianceErrors variances_found_together(const Eigen::MatrixXd& errors,
                                        const Eigen::VectorXd& stated_dof) {
  std::vector<Eigen::Index> uncertain;
  for (Eigen::Index g = 0; g < errors.rows(); ++g) {
    if (errors(g, g) > 0.0 && std::isfinite(stated_dof[g])) uncertain.push_back(g);
  }
  VarianceErrors found{errors, Eigen::VectorXd::Ones(errors.rows())};
  if (uncertain.empty()) return found;
  const Eigen::MatrixXd known = errors(uncertain, uncertain);
  found.means(uncertain) = Found(known, stated_dof(uncertain)).means();
  return found;
}

ScaledF scaled_f(const Eigen::MatrixXd& covariance, const std::vector<Eigen::MatrixXd>& parts,
                 const VarianceErrors& variances) {
  const Eigen::MatrixXd& errors = variances.covariance;
  const auto count = static_cast<Eigen::Index>(parts.size());
  if (covariance.rows() == 0 || errors.rows() != count || errors.cols() != count) return {};
  const Eigen::MatrixXd whiten = whitening(covariance);
  const auto h = static_cast<double>(whiten.rows());
  Eigen::MatrixXd expected = Eigen::MatrixXd::Identity(whiten.rows(), whiten.rows());
  std::vector<Eigen::MatrixXd> whitened;
  Eigen::VectorXd deviations(count);
  for (Eigen::Index g = 0; g < count; ++g) {
    whitened.push_back(whiten * parts[static_cast<std::size_t>(g)] * whiten.transpose());
    const auto dof = dof_of(errors(g, g));
    deviations[g] = dof ? variances.means[g] * std::sqrt(2.0 / (*dof - 4.0)) : 0.0;
    expected += (variances.means[g] - 1.0) * whitened.back();
  }
  double variance = 2.0 * trace_of_product(expected, expected);
  for (std::size_t i = 0; i < whitened.size(); ++i) {
    for (std::size_t j = 0; j < whitened.size(); ++j) {
      const auto [row, column] =
          std::pair(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j));
      const double sizes = std::sqrt(errors(row, row) * errors(column, column));
      if (!(sizes > 0.0)) continue;
      variance += errors(row, column) / sizes * deviations[row] * deviations[column] *
                  (2.0 * trace_of_product(whitened[i], whitened[j]) +
                   whitened[i].trace() * whitened[j].trace());
    }
  }
  return of_moments(expected.trace(), variance, h);
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

double BiasGrant::squared_length_left(const Eigen::VectorXd& change) const {
  if (!sensible_ || change.size() != whiten_.cols() || !change.allFinite()) return not_a_number;
  NearestBias nearest(whiten_ * change, gains_, half_widths_);
  for (int sweep = 0; sweep < most_sweeps; ++sweep) {
    if (nearest.sweep() < settled_step) break;
  }
  return nearest.left().squaredNorm();
}

bool BiasGrant::leaves_more(const Eigen::VectorXd& whitened, double limit) const {
  NearestBias nearest(whitened, gains_, half_widths_);
  for (int sweep = 0; sweep < most_sweeps; ++sweep) {
    if (nearest.left().squaredNorm() <= limit) return false;
    const double least = nearest.least_left(whitened);
    if (least * least > limit) return true;
    if (nearest.sweep() < settled_step) break;
  }
  return nearest.left().squaredNorm() > limit;
}

Congruency congruency_beside(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                             const ScaledF& reference, const Eigen::MatrixXd& bias_gains,
                             const Eigen::VectorXd& half_widths) {
  const BiasGrant grant(covariance, bias_gains, half_widths);
  return grant.rank() > 0 ? tested(grant.squared_length_left(change), grant.rank(), reference)
                          : Congruency();
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

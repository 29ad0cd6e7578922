#include "estimate/variance_components.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "estimate/linearisation.h"

namespace pivotrace {

namespace {

/// A scale factor of a variance is kept within these bounds of one step: Fisher scoring overshoots
/// when a component is far from its start.
constexpr double largest_step_up = 25.0;
constexpr double largest_step_down = 0.04;

/// An estimate below this share of the stated variance (a fifth of the sigma) sits at its lower end:
/// the survey cannot tell it from nothing, and what is stated is safer.
constexpr double smallest_factor = 0.04;

}  // namespace

// With C^-1 U = U M^-1 / s^2 (StationWeight) every trace below is a sum over stations of k x k
// products; P = C^-1 - C^-1 J N^-1 J'C^-1. Derived here.
VarianceSums variance_sums(const Model& model, const RandomModel& random,
                           const Adjusted& adjusted) {
  const ActiveNuisances active = active_nuisances(random);
  const Linearisation at(model, adjusted.unknowns);
  const Eigen::Index p = model.layout().unknowns;
  const Eigen::MatrixXd& inverse = adjusted.covariance();
  VarianceSums sums;
  for (auto& matrix : sums.entering) matrix = Eigen::MatrixXd::Zero(p, p);
  for (auto& matrix : sums.entering_index) matrix = Eigen::MatrixXd::Zero(p, p);
  sums.entering_station = Eigen::MatrixXd::Zero(p, p);
  std::array<Eigen::MatrixXd, 3> mixed;  // J'C^-1 V_g C^-1 V_h C^-1 J for (0,0), (0,1), (1,1)
  for (auto& matrix : mixed) matrix = Eigen::MatrixXd::Zero(p, p);
  Eigen::Matrix2d plain = Eigen::Matrix2d::Zero();  // tr(C^-1 V_g C^-1 V_h)
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    const StationWeight weight(block, random, active);
    const double variance = weight.touch_variance();
    const Eigen::MatrixXd weighed = weight.weigh(block.by_unknown);  // C^-1 J
    const Eigen::VectorXd left = weight.weigh(block.gap);            // C^-1 y = P y at the optimum
    const Eigen::MatrixXd& u = weight.scaled_nuisances();
    const Eigen::MatrixXd u_weighed = u.transpose() * weighed;  // U'C^-1 J
    const Eigen::VectorXd u_left = u.transpose() * left;
    sums.quadratic[0] += variance * left.squaredNorm();
    sums.quadratic[1] += variance * u_left.squaredNorm();
    sums.entering[0] += variance * weighed.transpose() * weighed;
    sums.entering[1] += variance * u_weighed.transpose() * u_weighed;
    for (int k = 0; k < active.count(); ++k) {
      const Eigen::RowVectorXd row = u_weighed.row(k);
      Eigen::MatrixXd& into = active.columns[k] < 3 ? sums.entering_station
                                                    : sums.entering_index[active.columns[k] - 3];
      into += variance * row.transpose() * row;
    }
    const Eigen::MatrixXd shrunk = weight.gram() * weight.inner_inverse();  // S M^-1
    const Eigen::MatrixXd seen = weight.inner_inverse() * shrunk;           // M^-1 S M^-1
    const double m = weight.rows();
    sums.redundancy[0] += m - shrunk.trace();
    sums.redundancy[1] += shrunk.trace();
    plain(0, 0) += m - 2.0 * shrunk.trace() + (shrunk * shrunk).trace();
    plain(0, 1) += seen.trace();
    plain(1, 1) += (shrunk * shrunk).trace();
    const Eigen::MatrixXd twice = weight.weigh(weighed);  // C^-1 C^-1 J
    mixed[0] += variance * variance * weighed.transpose() * twice;
    mixed[1] += variance * variance * twice.transpose() * u * u_weighed;
    mixed[2] += variance * u_weighed.transpose() * shrunk * u_weighed;
  }
  plain(1, 0) = plain(0, 1);
  for (int g = 0; g < 2; ++g) {
    sums.redundancy[g] -= (inverse * sums.entering[g]).trace();
    for (int h = 0; h < 2; ++h) {
      const Eigen::MatrixXd& middle = mixed[g + h];
      sums.information(g, h) =
          0.5 * (plain(g, h) - 2.0 * (inverse * middle).trace() +
                 (inverse * sums.entering[g] * inverse * sums.entering[h]).trace());
    }
  }
  return sums;
}

namespace {

/// The same survey under new variances: one linear step from the old unknowns. The covariance
/// stays that of where the step began; steps die out as the variances settle.
Adjusted re_adjusted(const Model& model, const RandomModel& random, const Adjusted& before) {
  Adjusted linear = adjusted_at(model, random, before.unknowns, {});
  if (linear.information.full_rank()) linear.unknowns += linear.information.step;
  return linear;
}

RandomModel scaled(const RandomModel& random, double touch_factor, double station_factor) {
  RandomModel result = random;
  result.touch_sigma_mm *= std::sqrt(touch_factor);
  result.station_sigma_mm *= std::sqrt(station_factor);
  for (double& sigma : result.index_sigma_rad) sigma *= std::sqrt(station_factor);
  return result;
}

/// Fisher step for the chosen groups; factors of groups not chosen stay 1.
Eigen::Vector2d scoring_factors(const VarianceSums& sums, const std::array<bool, 2>& estimate) {
  Eigen::Vector2d score = 0.5 * (sums.quadratic - sums.redundancy);
  Eigen::Matrix2d information = sums.information;
  for (int g = 0; g < 2; ++g) {
    if (estimate[g]) continue;
    score[g] = 0.0;
    information.row(g).setZero();
    information.col(g).setZero();
    information(g, g) = 1.0;
  }
  const Eigen::Vector2d step = information.ldlt().solve(score);
  return (Eigen::Vector2d::Ones() + step).cwiseMax(largest_step_down).cwiseMin(largest_step_up);
}

SigmaSource source_of(const std::array<bool, 2>& estimated, bool stated_by_user) {
  const auto stated =
      stated_by_user ? SigmaSource::From::machine_file : SigmaSource::From::defaults;
  const auto from = [&](bool found) { return found ? SigmaSource::From::survey : stated; };
  return {from(estimated[0]), from(estimated[1]), false};
}

}  // namespace

namespace {

/// Where Fisher scoring ended for the chosen groups.
struct Scored {
  Eigen::Vector2d factors = Eigen::Vector2d::Ones();
  Eigen::Matrix2d information = Eigen::Matrix2d::Identity();
  bool solvable = true;
};

Scored scored(const Model& model, const RandomModel& stated, const Adjusted& adjusted,
              const std::array<bool, 2>& estimate) {
  Scored result;
  Adjusted current = adjusted;
  VarianceSums sums = variance_sums(model, stated, adjusted);
  for (int iteration = 0; iteration < 50; ++iteration) {
    Eigen::Vector2d step = scoring_factors(sums, estimate);
    for (int g = 0; g < 2; ++g) {
      step[g] = std::max(step[g], 0.5 * smallest_factor / result.factors[g]);
    }
    result.factors = result.factors.cwiseProduct(step);
    const RandomModel random = scaled(stated, result.factors[0], result.factors[1]);
    current = re_adjusted(model, random, current);
    result.solvable = current.information.full_rank();
    if (!result.solvable) return result;
    sums = variance_sums(model, random, current);
    if ((step - Eigen::Vector2d::Ones()).cwiseAbs().maxCoeff() < 1e-8) break;
  }
  result.information = sums.information;
  return result;
}

/// Covariance of the relative factors: inverse information, nothing where not estimated.
Eigen::Matrix2d factor_covariance(Eigen::Matrix2d information,
                                  const std::array<bool, 2>& estimate) {
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();
  if (estimate[0] && estimate[1]) return information.inverse();
  for (int g = 0; g < 2; ++g) {
    if (estimate[g]) covariance(g, g) = 1.0 / information(g, g);
  }
  return covariance;
}

}  // namespace

ChosenVariances choose_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted, bool stated_by_user) {
  ChosenVariances chosen;
  chosen.random = stated;
  const VarianceSums sums = variance_sums(model, stated, adjusted);
  std::array<bool, 2> estimate{};
  for (int g = 0; g < 2; ++g) estimate[g] = sums.redundancy[g] >= redundancy_to_estimate;
  while (estimate[0] || estimate[1]) {
    const Scored result = scored(model, stated, adjusted, estimate);
    if (!result.solvable) break;
    bool credible = true;
    for (int g = 0; g < 2; ++g) {
      if (!estimate[g] || result.factors[g] > smallest_factor) continue;
      estimate[g] = false;
      credible = false;
    }
    if (!credible) continue;
    chosen.random = scaled(stated, result.factors[0], result.factors[1]);
    chosen.factor_covariance = factor_covariance(result.information, estimate);
    break;
  }
  chosen.touch_estimated = estimate[0];
  chosen.station_estimated = estimate[1];
  chosen.source = source_of(estimate, stated_by_user);
  return chosen;
}

}  // namespace pivotrace

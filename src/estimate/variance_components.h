// How large the random errors really were: from the machine file, or from the survey itself.
#pragma once

#include "estimate/adjustment.h"
#include "pivotrace/results/sigma_source.h"

namespace pivotrace {

/// Sums over all stations that restricted maximum likelihood and the degrees of freedom need.
/// Group 0: touch noise, V = touch variance I. Group 1: between stations, V = station and index
/// effects together at their current size. gradient[g] = y'P V_g P y - tr(P V_g) [of relative size];
/// all in units of the current variances, so the wanted factors are near 1.
struct VarianceSums {
  Eigen::Vector2d quadratic = Eigen::Vector2d::Zero();   ///< y'P V_g P y
  Eigen::Vector2d redundancy = Eigen::Vector2d::Zero();  ///< tr(P V_g): sums to readings - unknowns
  Eigen::Matrix2d information = Eigen::Matrix2d::Zero();  ///< tr(P V_g P V_h) / 2
  /// J'C^-1 V_g C^-1 J, (p x p): how each group enters the covariance of the unknowns.
  std::array<Eigen::MatrixXd, 2> entering;
  /// The same for every single source of group 1: station, then one per rotary axis.
  Eigen::MatrixXd entering_station;
  std::array<Eigen::MatrixXd, max_rotary_axes> entering_index;
};

VarianceSums variance_sums(const Model& model, const RandomModel& random, const Adjusted& adjusted);

/// Which sigmas were used and why.
struct ChosenVariances {
  RandomModel random;
  bool touch_estimated = false;
  bool station_estimated = false;
  SigmaSource source;
  /// Covariance of the two relative variance factors; zero where taken from the machine file.
  Eigen::Matrix2d factor_covariance = Eigen::Matrix2d::Zero();
};

/// Redundancy a group needs before its size is estimated from the survey: below it the
/// estimate is worth less than what the machine file says. Common practice, no source.
inline constexpr double redundancy_to_estimate = 10.0;

/// Restricted maximum likelihood by Fisher scoring on the two groups, each only where its
/// redundancy allows (Patterson & Thompson 1971, cited from memory; equations derived here).
ChosenVariances choose_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted, bool stated_by_user);

}  // namespace pivotrace

// How large the random errors really were: what the machine file says and what the survey shows, pooled.
#pragma once

#include <vector>

#include "estimate/adjustment.h"
#include "pivotrace/results/sigma_source.h"

namespace pivotrace {

/// Sums that restricted maximum likelihood and the degrees of freedom need, one entry per group that
/// occurs in the survey (touch noise first). V_g is the covariance of the readings from group g at its
/// current size, P the projector onto what the unknowns leave.
struct VarianceSums {
  std::vector<int> groups;      ///< see shared_effects.h
  Eigen::VectorXd quadratic;    ///< y'P V_g P y
  Eigen::VectorXd redundancy;   ///< tr(P V_g): sums to readings - unknowns
  Eigen::MatrixXd information;  ///< tr(P V_g P V_h) / 2
  /// Part of the covariance of the unknowns (p x p) that comes from each group.
  std::vector<Eigen::MatrixXd> of_unknowns;
};

VarianceSums variance_sums(const Model& model, const RandomModel& random, const Adjusted& adjusted);

/// One group after pooling.
struct PooledGroup {
  int group = touch_group;
  double stated_sigma = 0.0;
  double sigma = 0.0;        ///< pooled
  double found_sigma = 0.0;  ///< by the survey alone; 0 where it shows nothing of this group
  double redundancy =
      0.0;  ///< r, in effect: 2 / (relative variance of what the survey alone finds)
  double stated_dof = 0.0;  ///< n0
};

/// Which sigmas were used and why.
struct ChosenVariances {
  RandomModel random;
  std::vector<PooledGroup> pooled;  ///< empty in a prediction without touches
  SigmaSource source;
  /// Covariance of the relative variances, one row per group of `groups`; 0 where exactly known.
  std::vector<int> groups;
  Eigen::VectorXd stated_dof;  ///< n0, one entry per group
  Eigen::MatrixXd factor_covariance;
};

/// Pools, for every group, what the file says with n0 degrees of freedom and what the survey shows with
/// r: s^2 = (n0 s0^2 + r s^2) / (n0 + r). Restricted maximum likelihood with inverse chi-squared priors,
/// by Fisher scoring on the logarithms (Patterson & Thompson 1971, cited from memory; equations derived
/// here): score_g = (y'P V_g P y - tr(P V_g) + n0 (s0^2 / s_g^2 - 1)) / 2, information + n0 / 2.
ChosenVariances choose_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted);

/// The sigmas as stated, uncertain by their own degrees of freedom alone: a survey still to be made.
ChosenVariances stated_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted);

/// A sigma that nobody stated is worth half as much (JCGM 100:2008, G.4.2: uncertain by 35 %).
inline constexpr double assumed_sigma_dof = 4.0;

}  // namespace pivotrace

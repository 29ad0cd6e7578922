// The best survey there could be if visits came in fractions, and what it proves about whole ones.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "plan/candidates.h"

namespace pivotrace {

/// Unknowns p, values K. What visits share stands after the unknowns in their rows.
struct DesignTask {
  const std::vector<Visit>& visits;
  Eigen::MatrixXd by_unknown;  ///< (p x K) c_k
  /// (p x p) M_0 of the unknowns: one for all values, or one for each.
  std::vector<Eigen::MatrixXd> known_before;
  const std::vector<SharedPart>& shared;
  std::vector<double> minutes;  ///< per visit: at the least, with the cheapest way into it
  double total_minutes = 0.0;
  Eigen::VectorXd scale;     ///< (K) what each standard uncertainty is measured in [mm or rad]
  Eigen::VectorXd constant;  ///< (K) variance that no survey takes away
  /// Per shared effect: the part of its prior that counts with every visit that feels it, 0 to 1; the rest counts
  /// once. Whatever the part, the information is no less than a survey really has: who feels it comes once at least.
  Eigen::VectorXd prior_with_visits;
  /// The parts follow the design: all of it with visits where less than one visit feels the effect, once where
  /// more do. That is the best there is of all parts, since the bound's denominator falls with a part as long as
  /// less than one visit feels it.
  bool balance_priors = false;

  const Eigen::MatrixXd& known_of(Eigen::Index value) const {
    return known_before[known_before.size() > 1 ? static_cast<std::size_t>(value) : 0];
  }
};

/// Vectors a_k and weights l_k prove for every plan of these visits
///   sum_k l_k Var_k >= (sum_k l_k c_k'a_k)^2 / (sum_k l_k a_k'M_0k a_k + T max_v sum_k l_k a_k'M_v a_k / tau_v)
/// since Var_k = c'M^-1 c >= 2 c'a - a'M a for any a, M = M_0k + sum_v n_v M_v and sum_v n_v tau_v <= T. So the
/// largest (Var_k + constant_k) / scale_k^2 is at least (that + sum_k l_k constant_k) where
/// sum_k l_k scale_k^2 = 1. Derived here; the equality for one output is Elfving's and Kiefer's equivalence
/// of optimal designs (from memory).
struct RelaxedDesign {
  Eigen::VectorXd share;      ///< per visit: its share of the minutes
  Eigen::VectorXd worth;      ///< per visit: information per minute beside the best, 0 to 1
  double least_ratio = 0.0;   ///< proven: no plan's worst standard uncertainty / scale is below
  double design_ratio = 0.0;  ///< of the fractional survey itself
  Eigen::MatrixXd vectors;    ///< (n x K) a_k over unknowns, then shared effects
  Eigen::VectorXd weights;    ///< (K) l_k
  Eigen::VectorXd prior_with_visits;  ///< the parts this was proven with
};

/// Multiplicative weights, at most `iterations`; stops when bound and design are within `gap` of each other.
/// `start`: shares to begin with, or empty.
RelaxedDesign relaxed_design(const DesignTask& task, int iterations, double gap,
                             const Eigen::VectorXd& start = {});

/// (K) Proven of every value alone: no plan's variance is below, from a_k = M^-1 c_k of these shares.
Eigen::VectorXd least_variances(const DesignTask& task, const Eigen::VectorXd& share);

}  // namespace pivotrace

// The proof beside a plan: no survey of its minutes does much better.
#pragma once

#include <functional>
#include <vector>

#include "pivotrace/plan/certificate.h"
#include "plan/relaxed_design.h"

namespace pivotrace {

struct ProofTask {
  const CandidateRows& rows;
  const std::vector<double>& least_minutes;  ///< per candidate, with the cheapest way into it
  double total_minutes = 0.0;
  const std::vector<WantedValue>& wanted;
  /// Largest U95 / scale of the plan itself, normal factor: only what would beat it has to be looked at.
  double reached = 0.0;
  std::function<void()> tick;  ///< called now and then
};

/// U^2 >= of_u u^2 + of_B B^2 for every u and B with low <= B^2 / u^2 <= high. U^2 = u^2 q(B^2 / u^2) with q
/// the 95 % quantile of the noncentral chi-squared distribution of one degree of freedom, which is concave in
/// its noncentrality, from 3.84 with a slope that falls from 3.84 to 1: so the chord between the two ends
/// is below it, and without ends 3.84 u^2 + B^2.
struct Chord {
  double of_u = 0.0;
  double of_B = 0.0;
};
Chord chord_below(double low, double high);

/// Bounded effects count as random with a prior: for the estimator of any survey, which leaves them out,
/// of_u Var + of_B sum_j w_j^2 r_j^2 is of_u times its mean square error where effect j has the variance
/// of_B / of_u w_j^2, and no estimator has less than c'M^-1 c with the effects among the unknowns. Every B is at
/// least that sum; drift, which has a sign only once there is an order, is left out, which makes the bound
/// weaker. A survey may find an effect to be smaller than its bound: w_j is the least any survey of these
/// minutes could find, or the bound. Derived here.
/// Sets bound, reached, vectors, weights and what belongs to them.
void prove(const ProofTask& task, const Eigen::VectorXd& start, Certificate& proof);

/// Shares of the best survey in fractions, u and B counted together as 3.84 u^2 + B^2.
Eigen::VectorXd share_with_bias(const ProofTask& task, const Eigen::VectorXd& start);

}  // namespace pivotrace

// The best fractional survey to a few digits more, so that the proof leaves little.
#pragma once

#include "plan/relaxed_design.h"

namespace pivotrace {

/// From a design that is near, with the parts of the priors chosen as `DesignTask::balance_priors` says. Never
/// proves less than `start`. Solves
///   min over shares s and n_j of max_k c_k'M_k^-1 c_k,  M_k = M_0k + sum_v n_v M_v + sum_j n_j / sigma_j^2,
///   n_v = T s_v / tau_v,  n_j <= visits that feel j,  n_j <= 1,  sum s <= 1
/// which is convex, by a primal-dual interior-point method (S. Boyd and L. Vandenberghe, Convex Optimization,
/// 2004, chapter 11.7), among a pool of visits; those that would be worth more than all of the pool join it.
/// The multipliers of n_j <= visits beside those of n_j <= 1 are the part of a prior that counts with visits.
/// Ends early, with what it has, once `work_left` multiplications are used up, and lessens it by what it used: the
/// same on every machine, unlike a clock.
RelaxedDesign sharpened_design(const DesignTask& task, const RelaxedDesign& start, double gap,
                               double& work_left);

}  // namespace pivotrace

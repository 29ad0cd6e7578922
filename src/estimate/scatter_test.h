// Whether a survey scatters more than the sigmas of its machine file can explain.
#pragma once

#include "estimate/variance_components.h"

namespace pivotrace {

/// Chance that a machine of the stated sigmas, uncertain by their own degrees of freedom n_g, shows
/// scatter as large as this survey's. The statistic is T = sum over groups of n_g / 2 ln(s_g^2 / s0_g^2), s_g
/// pooled: for one common factor on all sigmas it is the most powerful one, to the order in which ln s^2 is
/// normal, and no group with many readings drowns the others as in chi2.
///
/// Of one group s^2 / s0^2 = (n / (n + r)) / B with B ~ Beta(n/2, r/2), so ln has cumulants of digamma
/// functions; their sums, the variance widened to what groups have that one survey hardly separates,
/// give the tail by a gamma distribution of the same three moments (Pearson's type III). Derived here;
/// checked by `coverage`. 1 where the survey shows no scatter.
double chance_of_scatter(const ChosenVariances& chosen);

}  // namespace pivotrace

#include "estimate/suspicion.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "estimate/touch_tests.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

Scatter scatter_without(const Hypothesis& hypothesis, const LeftOver& left_over) {
  const int redundancy = left_over.redundancy - hypothesis.dimensions;
  if (redundancy <= 0) return {left_over.robust_variance, 0.0};
  const double dof = left_over.stated_dof + redundancy;
  const double left = std::max(0.0, left_over.chi2 - hypothesis.statistic);
  const double external = (left_over.stated_dof + left) / dof;
  return {std::max(1.0, std::min(left_over.robust_variance, external)), dof};
}

double critical_chi2(int dimensions, const Scatter& scatter, double probability) {
  const double d = dimensions;
  if (scatter.dof > 0.0) return scatter.variance * d * f_quantile(probability, d, scatter.dof);
  return scatter.variance * chi_squared_quantile(probability, d);
}

double deviate(const Hypothesis& hypothesis, const Scatter& scatter) {
  const double share = hypothesis.statistic / scatter.variance;
  const double by_sigma = equivalent_normal(share, hypothesis.dimensions);
  if (scatter.dof <= 0.0) return by_sigma;
  const double d = hypothesis.dimensions;
  return std::min(by_sigma, normal_deviate_of_log_tail(log_f_tail(share / d, d, scatter.dof)));
}

Hypothesis judged(Hypothesis hypothesis, const Scatter& scatter, double limit) {
  const double probability = 2.0 * normal_cdf(limit) - 1.0;
  const double critical = critical_chi2(hypothesis.dimensions, scatter, probability);
  Suspect& suspect = hypothesis.suspect;
  suspect.w = deviate(hypothesis, scatter);
  if (hypothesis.statistic > 0.0) {
    suspect.limit_mm = suspect.size_mm * std::sqrt(critical / hypothesis.statistic);
  }
  hypothesis.beyond = hypothesis.statistic > critical;
  return hypothesis;
}

StationStories ranked(StationStories stories, double variance) {
  const auto rank_of = [&](const Hypothesis& hypothesis) {
    if (!hypothesis.beyond) return 0.0;
    return equivalent_normal(hypothesis.statistic / variance, hypothesis.dimensions);
  };
  const double touch = rank_of(stories.touch);
  const double whole = rank_of(stories.whole);
  stories.rank = std::max(touch, whole);
  stories.whole_ranks_first = whole > touch;
  return stories;
}

}  // namespace pivotrace

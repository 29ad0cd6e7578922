#include "estimate/scatter_test.h"

#include <boost/math/special_functions/digamma.hpp>
#include <boost/math/special_functions/polygamma.hpp>
#include <boost/math/special_functions/trigamma.hpp>
#include <cmath>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

struct Cumulants {
  double mean = 0.0;
  double variance = 0.0;
  double third = 0.0;
};

/// Of n/2 ln(pooled variance / stated one) of a group on its own; r is its redundancy.
Cumulants cumulants_of(double n, double r) {
  namespace bm = boost::math;
  const double a = 0.5 * n;
  const double both = 0.5 * (n + r);
  return {a * (std::log(n / (n + r)) + bm::digamma(both) - bm::digamma(a)),
          a * a * (bm::trigamma(a) - bm::trigamma(both)),
          a * a * a * (bm::polygamma(2, both) - bm::polygamma(2, a))};
}

/// P(X > mean + z deviations) of a gamma distribution with this skewness.
double tail_of_gamma(double z, double skewness) {
  constexpr double hardly_skewed = 1e-3;
  if (skewness < hardly_skewed) return normal_cdf(-z);
  const double shape = 4.0 / (skewness * skewness);
  return std::exp(log_chi_squared_tail(2.0 * (shape + z * std::sqrt(shape)), 2.0 * shape));
}

/// The variance of the sum where groups hide behind each other, as ln s^2 were normal: 1'(D - D C D)1 with
/// D = diag(n/2) and C the covariance of the pooled ln s^2.
double joint_variance(const ChosenVariances& chosen, const Eigen::VectorXd& half_dof) {
  return half_dof.sum() - half_dof.dot(chosen.factor_covariance * half_dof);
}

}  // namespace

double chance_of_scatter(const ChosenVariances& chosen) {
  const auto count = static_cast<Eigen::Index>(chosen.pooled.size());
  Eigen::VectorXd half_dof(count);
  double statistic = 0.0;
  double alone = 0.0;
  Cumulants sum;
  for (Eigen::Index g = 0; g < count; ++g) {
    const PooledGroup& group = chosen.pooled[static_cast<std::size_t>(g)];
    const double n = group.stated_dof;
    const double r = group.redundancy;
    const Cumulants own = cumulants_of(n, r);
    half_dof[g] = 0.5 * n;
    statistic += n * std::log(group.sigma / group.stated_sigma);
    alone += 0.5 * n * r / (n + r);
    sum = {sum.mean + own.mean, sum.variance + own.variance, sum.third + own.third};
  }
  if (!(sum.variance > 0.0)) return 1.0;
  const double widened = std::max(1.0, joint_variance(chosen, half_dof) / alone);
  const double z = (statistic - sum.mean) / std::sqrt(sum.variance * widened);
  return tail_of_gamma(z, sum.third / std::pow(sum.variance, 1.5));
}

}  // namespace pivotrace

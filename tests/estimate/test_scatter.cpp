// Whether scatter is called larger than stated as often as it should be, and as seldom.
#include <doctest/doctest.h>

#include <boost/math/distributions/binomial.hpp>
#include <cmath>

#include "estimate/scatter_test.h"
#include "pivotrace/results/statistics.h"
#include "pivotrace/survey/random_stream.h"

using namespace pivotrace;

namespace {

struct GroupSays {
  double n;      ///< degrees of freedom of what the file states
  double r;      ///< redundancy of the survey
  double ratio;  ///< variance found by the survey over the stated one
};

/// Groups that do not hide behind each other, pooled as s^2 = (n s0^2 + r found^2) / (n + r).
ChosenVariances pooled(const std::vector<GroupSays>& groups) {
  ChosenVariances chosen;
  const auto count = static_cast<Eigen::Index>(groups.size());
  chosen.factor_covariance = Eigen::MatrixXd::Zero(count, count);
  for (const GroupSays& says : groups) {
    const auto g = static_cast<Eigen::Index>(chosen.pooled.size());
    PooledGroup group;
    group.stated_sigma = 0.003;
    group.sigma =
        group.stated_sigma * std::sqrt((says.n + says.r * says.ratio) / (says.n + says.r));
    group.redundancy = says.r;
    group.stated_dof = says.n;
    chosen.factor_covariance(g, g) = 2.0 / (says.n + says.r);
    chosen.pooled.push_back(group);
  }
  return chosen;
}

double chi_squared(RandomStream& random, int dof) {
  double sum = 0.0;
  for (int k = 0; k < dof; ++k) sum += std::pow(random.normal(), 2);
  return sum;
}

}  // namespace

TEST_CASE("the chance of one group's scatter is that of the F distribution") {
  for (const double n : {4.0, 8.0, 50.0}) {
    for (const double r : {3.0, 12.0, 100.0}) {
      for (const double chance : {0.2, 0.05, 0.01}) {
        const double ratio = f_quantile(1.0 - chance, r, n);
        CAPTURE(n);
        CAPTURE(r);
        // Three moments stand for the whole distribution.
        CHECK(chance_of_scatter(pooled({{n, r, ratio}})) == doctest::Approx(chance).epsilon(0.10));
      }
    }
  }
}

TEST_CASE("a sigma known exactly is judged by chi-squared") {
  const double ratio = chi_squared_quantile(0.99, 20.0) / 20.0;
  CHECK(chance_of_scatter(pooled({{1e9, 20.0, ratio}})) == doctest::Approx(0.01).epsilon(0.05));
}

TEST_CASE("several groups, each with its own error of the file, alarm at their level") {
  constexpr std::uint64_t seed = 20261129;
  constexpr int surveys = 20000;
  constexpr double level = 0.01;
  RandomStream random(seed, 1);
  int alarms = 0;
  for (int k = 0; k < surveys; ++k) {
    std::vector<GroupSays> groups;
    for (const int r : {40, 10, 3}) {
      const double found = chi_squared(random, r) / r;
      groups.push_back({8.0, static_cast<double>(r), found * 8.0 / chi_squared(random, 8)});
    }
    alarms += chance_of_scatter(pooled(groups)) < level ? 1 : 0;
  }
  INFO("seed ", seed, ": ", alarms, " of ", surveys);
  CHECK(alarms >= quantile(boost::math::binomial(surveys, 0.85 * level), 0.001));
  CHECK(alarms <= quantile(complement(boost::math::binomial(surveys, 1.15 * level), 0.001)));
}

TEST_CASE("a survey that shows no scatter gives no alarm") {
  CHECK(chance_of_scatter(ChosenVariances{}) == 1.0);
  CHECK(chance_of_scatter(pooled({{8.0, 30.0, 1.0}})) > 0.3);
}

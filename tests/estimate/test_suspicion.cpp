#include <doctest/doctest.h>

#include <cmath>

#include "estimate/suspicion.h"
#include "pivotrace/results/statistics.h"

using namespace pivotrace;

namespace {

Hypothesis touch_that_saves(double chi2) {
  Hypothesis hypothesis;
  hypothesis.dimensions = 1;
  hypothesis.rows = 1;
  hypothesis.statistic = chi2;
  hypothesis.suspect.size_mm = 0.010;
  return hypothesis;
}

}  // namespace

TEST_CASE("with sigmas known for sure a shift is judged by chi-squared") {
  // Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4: 95 % of chi-squared, 1 and 3
  // degrees of freedom.
  const Scatter stated{1.0, 0.0};
  CHECK(critical_chi2(1, stated, 0.95) == doctest::Approx(3.841).epsilon(2e-4));
  CHECK(critical_chi2(3, stated, 0.95) == doctest::Approx(7.815).epsilon(2e-4));
}

TEST_CASE("with a scatter found from 10 readings it is judged by F") {
  // Source: NIST/SEMATECH e-Handbook, 1.3.6.7.3: 95 % of F(1, 10) = 4.965, of F(3, 10) = 3.708.
  const Scatter found{1.0, 10.0};
  CHECK(critical_chi2(1, found, 0.95) == doctest::Approx(4.965).epsilon(2e-4));
  CHECK(critical_chi2(3, found, 0.95) == doctest::Approx(3.0 * 3.708).epsilon(2e-4));
  // Twice the variance asks for twice as much.
  CHECK(critical_chi2(1, {2.0, 10.0}, 0.95) == doctest::Approx(2.0 * 4.965).epsilon(2e-4));
}

TEST_CASE("a shift at its limit has the deviate of the limit") {
  for (const Scatter scatter : {Scatter{1.0, 0.0}, Scatter{1.0, 12.0}, Scatter{4.0, 5.0}}) {
    for (const double limit : {2.0, 3.0, 4.5}) {
      CAPTURE(scatter.dof);
      CAPTURE(limit);
      const double critical = critical_chi2(1, scatter, 2.0 * normal_cdf(limit) - 1.0);
      CHECK(deviate(touch_that_saves(critical), scatter) == doctest::Approx(limit).epsilon(1e-6));
      CHECK(judged(touch_that_saves(1.001 * critical), scatter, limit).beyond);
      const Hypothesis within = judged(touch_that_saves(0.999 * critical), scatter, limit);
      CHECK_FALSE(within.beyond);
      // The limit lies as much further out as the shift falls short of it.
      CHECK(within.suspect.limit_mm == doctest::Approx(0.010 / std::sqrt(0.999)).epsilon(1e-9));
    }
  }
}

TEST_CASE("the scatter without a suspect is what the others leave, not less than stated") {
  LeftOver left_over;
  left_over.chi2 = 120.0;
  left_over.redundancy = 21;
  left_over.robust_variance = 9.0;
  // 20 left over with 20 to spare: as stated.
  CHECK(scatter_without(touch_that_saves(100.0), left_over).variance == 1.0);
  CHECK(scatter_without(touch_that_saves(100.0), left_over).dof == 20.0);
  CHECK(scatter_without(touch_that_saves(60.0), left_over).variance == doctest::Approx(3.0));
  // A robust variance below it counts instead.
  left_over.robust_variance = 2.0;
  CHECK(scatter_without(touch_that_saves(60.0), left_over).variance == 2.0);
  // Nothing left to say: the robust variance alone.
  left_over.redundancy = 1;
  CHECK(scatter_without(touch_that_saves(60.0), left_over).dof == 0.0);
}

TEST_CASE("of a touch and a whole station the less probable story ranks first") {
  StationStories stories;
  stories.touch = touch_that_saves(30.0);
  stories.touch.beyond = true;
  stories.whole = touch_that_saves(32.0);
  stories.whole.dimensions = 3;
  stories.whole.beyond = true;
  // Three directions explain two more chi2 by chance.
  CHECK_FALSE(ranked(stories, 1.0).whole_ranks_first);
  stories.whole.statistic = 60.0;
  CHECK(ranked(stories, 1.0).whole_ranks_first);
  stories.touch.beyond = false;
  stories.whole.beyond = false;
  CHECK(ranked(stories, 1.0).rank == 0.0);
}

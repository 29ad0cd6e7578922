#include <doctest/doctest.h>

#include <cmath>
#include <vector>

#include "pivotrace/survey/random_stream.h"

using namespace pivotrace;

TEST_CASE("the same seed and stream give the same numbers, others do not") {
  RandomStream first(7, 3);
  RandomStream again(7, 3);
  RandomStream other_stream(7, 4);
  RandomStream other_seed(8, 3);
  int same_stream = 0;
  int same_seed = 0;
  for (int k = 0; k < 100; ++k) {
    const double value = first.normal();
    CHECK(value == again.normal());
    same_stream += value == other_stream.normal();
    same_seed += value == other_seed.normal();
  }
  CHECK(same_stream == 0);
  CHECK(same_seed == 0);
}

TEST_CASE("normal deviates have the moments of the standard normal distribution") {
  // Standard errors with n numbers: mean 1/sqrt(n), variance sqrt(2/n), third moment sqrt(15/n),
  // fourth sqrt(96/n). Five of them are allowed; the seed is fixed.
  constexpr int n = 400000;
  RandomStream random(20260302);
  double sums[4] = {0, 0, 0, 0};
  for (int k = 0; k < n; ++k) {
    const double x = random.normal();
    sums[0] += x;
    sums[1] += x * x;
    sums[2] += x * x * x;
    sums[3] += x * x * x * x;
  }
  CHECK(std::abs(sums[0] / n) < 5.0 / std::sqrt(n));
  CHECK(std::abs(sums[1] / n - 1.0) < 5.0 * std::sqrt(2.0 / n));
  CHECK(std::abs(sums[2] / n) < 5.0 * std::sqrt(15.0 / n));
  CHECK(std::abs(sums[3] / n - 3.0) < 5.0 * std::sqrt(96.0 / n));
}

TEST_CASE("uniform deviates stay from 0 to below 1") {
  RandomStream random(5);
  for (int k = 0; k < 10000; ++k) {
    const double x = random.uniform();
    CHECK(x >= 0.0);
    CHECK(x < 1.0);
  }
}

// Run lengths against the published tables, and the worked examples number by number.
#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <random>

#include "pivotrace/results/charts.h"

using namespace pivotrace;

namespace {

struct RunLength {
  double shift;
  double published;
};

/// Run lengths by playing the chart, no integral equation.
double played_run_length(const VectorEwmaDesign& design, double shift, int runs) {
  std::mt19937_64 engine(20261);
  std::normal_distribution<double> normal;
  const double limit = design.limit * design.weight / (2.0 - design.weight);
  double total = 0.0;
  for (int run = 0; run < runs; ++run) {
    Eigen::VectorXd Z = Eigen::VectorXd::Zero(design.size);
    do {
      for (Eigen::Index i = 0; i < Z.size(); ++i) {
        const double z = normal(engine) + (i == 0 ? shift : 0.0);
        Z[i] += design.weight * (z - Z[i]);
      }
      total += 1.0;
    } while (Z.squaredNorm() <= limit);
  }
  return total / runs;
}

}  // namespace

TEST_CASE("cumulative sums run as long as the published table says") {
  // J. M. Lucas and R. B. Crosier, Technometrics 24, 1982: two-sided, k 0.5, h 4.
  const std::array<RunLength, 7> table = {
      {{0, 168}, {0.25, 74.2}, {0.5, 26.6}, {0.75, 13.3}, {1, 8.38}, {1.5, 4.75}, {2, 3.34}}};
  for (const RunLength& row : table) {
    CAPTURE(row.shift);
    CHECK(cusum_run_length({0.5, 4.0}, row.shift) == doctest::Approx(row.published).epsilon(0.03));
  }
}

TEST_CASE("weighted means run as long as the published table says") {
  // J. M. Lucas and M. S. Saccucci, Technometrics 32, 1990.
  const std::array<RunLength, 7> fast = {
      {{0, 500}, {0.25, 255}, {0.5, 88.8}, {0.75, 35.9}, {1, 17.5}, {1.5, 6.53}, {2, 3.63}}};
  const std::array<RunLength, 7> slow = {
      {{0, 500}, {0.25, 76.7}, {0.5, 29.3}, {0.75, 17.6}, {1, 12.6}, {1.5, 8.07}, {2, 5.99}}};
  for (const RunLength& row : fast) {
    CAPTURE(row.shift);
    CHECK(ewma_run_length({0.5, 3.071}, row.shift) == doctest::Approx(row.published).epsilon(0.03));
  }
  for (const RunLength& row : slow) {
    CAPTURE(row.shift);
    CHECK(ewma_run_length({0.03, 2.437}, row.shift) ==
          doctest::Approx(row.published).epsilon(0.03));
  }
}

TEST_CASE("weighted means of four values run as long as the published table says") {
  // p 4, r 0.1, limit 12.73: as quoted with an open statistics package's examples.
  const std::array<RunLength, 6> table = {
      {{0, 199.78}, {0.5, 35.05}, {1, 12.17}, {1.5, 7.22}, {2, 5.19}, {3, 3.42}}};
  for (const RunLength& row : table) {
    CAPTURE(row.shift);
    CHECK(vector_ewma_run_length({0.1, 12.73, 4}, row.shift) ==
          doctest::Approx(row.published).epsilon(0.03));
  }
}

TEST_CASE("the integral equation and the played chart give one run length") {
  for (const int size : {2, 3, 6}) {
    const VectorEwmaDesign design = design_vector_ewma(size, 0.25, 60.0);
    CAPTURE(size);
    // 20,000 runs: standard error 0.7 %.
    CHECK(played_run_length(design, 0.0, 20000) == doctest::Approx(60.0).epsilon(0.03));
    CHECK(played_run_length(design, 1.0, 20000) ==
          doctest::Approx(vector_ewma_run_length(design, 1.0)).epsilon(0.03));
  }
}

TEST_CASE("a design keeps the run length it was asked for") {
  for (const double weight : {0.05, 0.2, 1.0}) {
    CAPTURE(weight);
    CHECK(ewma_run_length(design_ewma(weight, 370.0), 0.0) == doctest::Approx(370.0).epsilon(1e-4));
  }
  // Weight 1 has no memory: 1 / (2 (1 - Phi(3))) = 370.4, the familiar three sigma.
  CHECK(design_ewma(1.0, 370.398).limit == doctest::Approx(3.0).epsilon(1e-5));
  // One value is the chart of one value.
  CHECK(std::sqrt(design_vector_ewma(1, 0.2, 200.0).limit) ==
        doctest::Approx(design_ewma(0.2, 200.0).limit).epsilon(1e-5));
  CHECK(std::isnan(design_ewma(0.0, 100.0).limit));
  CHECK(std::isnan(design_ewma(0.2, 1.0).limit));
  CHECK(std::isnan(design_vector_ewma(0, 0.2, 100.0).limit));
}

TEST_CASE("the worked example of cumulative sums comes out number by number") {
  // D. C. Montgomery and G. C. Runger, Applied Statistics and Probability for Engineers, table 16-8:
  // target 99, K 1, limit 10.
  const std::array<double, 20> x = {102.0, 94.8,  98.3,  98.4,  102.0, 98.5,  99.0,
                                    97.7,  100.0, 98.1,  101.3, 98.7,  101.1, 98.4,
                                    97.0,  96.7,  100.3, 101.4, 97.2,  101.0};
  const std::array<double, 20> up = {2.0, 0, 0,   0, 2.0, 0.5, 0,   0,   0, 0,
                                     1.3, 0, 1.1, 0, 0,   0,   0.3, 1.7, 0, 1.0};
  const std::array<double, 20> down = {0, 3.2, 2.9, 2.5, 0,   0,   0, 0.3, 0,   0,
                                       0, 0,   0,   0,   1.0, 2.3, 0, 0,   0.8, 0};
  Cusum sums;
  for (std::size_t i = 0; i < x.size(); ++i) {
    CAPTURE(i);
    sums.add(x[i] - 99.0, 1.0);
    CHECK(sums.up == doctest::Approx(up[i]).epsilon(1e-9));
    CHECK(sums.down == doctest::Approx(down[i]).epsilon(1e-9));
  }
}

TEST_CASE("the worked example of weighted means comes out number by number") {
  // NIST/SEMATECH e-Handbook 6.3.2.4 (from memory, arithmetic rechecked): target 50, s 2.0539,
  // weight 0.3, limits 52.5884 and 47.4115, which are three sigma.
  const std::array<double, 20> x = {52,   47,   53,   49.3, 50.1, 47,   51,   50.1, 51.2, 50.5,
                                    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const std::array<double, 20> z = {50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75,
                                    49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
                                    49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
  const EwmaDesign design{0.3, 3.0};
  CHECK(50.0 + 2.0539 * design.bound() == doctest::Approx(52.5884).epsilon(2e-5));
  double Z = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    CAPTURE(i);
    Z += design.weight * ((x[i] - 50.0) / 2.0539 - Z);
    CHECK(std::abs(50.0 + 2.0539 * Z - z[i]) <= 0.0051);
  }
}

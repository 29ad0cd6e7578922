// Tests on a change against published examples, against each other and against simulation.
#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <array>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "pivotrace/results/change_statistics.h"
#include "pivotrace/results/statistics.h"

using namespace pivotrace;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

Eigen::MatrixXd some_covariance() {
  Eigen::Matrix3d root;
  root << 2.0, 0.0, 0.0, 0.7, 1.1, 0.0, -0.4, 0.3, 1e-3;
  return root * root.transpose();
}

}  // namespace

TEST_CASE("power of the F test is that of simulated noncentral F") {
  std::mt19937_64 engine(411);
  std::normal_distribution<double> normal;
  for (const auto& [h, dof, lambda] :
       std::array<std::array<double, 3>, 3>{{{2, 8, 12}, {4, 20, 9}, {8, 6, 40}}}) {
    const double limit = f_quantile(0.99, h, dof);
    std::chi_squared_distribution<double> below(dof);
    constexpr int draws = 40000;
    int seen = 0;
    for (int k = 0; k < draws; ++k) {
      double above = 0.0;
      for (int i = 0; i < static_cast<int>(h); ++i) {
        const double z = normal(engine) + (i == 0 ? std::sqrt(lambda) : 0.0);
        above += z * z;
      }
      if (above / h / (below(engine) / dof) > limit) ++seen;
    }
    CAPTURE(h);
    // Standard error at most 0.25 %; four of them.
    CHECK(std::abs(static_cast<double>(seen) / draws - f_test_power(0.01, h, dof, lambda)) < 0.01);
  }
}

TEST_CASE("the visible non-centrality is the tabulated one") {
  // Computed with SciPy's noncentral chi-squared, power 0.80.
  const std::array<double, 6> h = {1, 2, 3, 4, 6, 8};
  const std::array<double, 6> at_1_percent = {11.679, 13.881, 15.458, 16.749, 18.872, 20.635};
  for (std::size_t i = 0; i < h.size(); ++i) {
    CAPTURE(h[i]);
    CHECK(f_test_noncentrality(0.01, 0.80, h[i], infinity) ==
          doctest::Approx(at_1_percent[i]).epsilon(1e-4));
    CHECK(f_test_noncentrality(0.01, 0.80, h[i], 5e5) ==
          doctest::Approx(at_1_percent[i]).epsilon(1e-3));
    const double found = f_test_noncentrality(0.01, 0.80, h[i], 8.0);
    CHECK(f_test_power(0.01, h[i], 8.0, found) == doctest::Approx(0.80).epsilon(1e-6));
  }
  CHECK(smallest_seen(1.0, infinity, 0.0) == doctest::Approx(std::sqrt(11.679)).epsilon(1e-4));
  CHECK(smallest_seen(1.0, infinity, 0.5) ==
        doctest::Approx(std::sqrt(11.679) + 0.5).epsilon(1e-4));
  CHECK(std::isnan(f_test_noncentrality(0.8, 0.01, 2, 8)));
}

TEST_CASE("congruency does not depend on units or on the order of values") {
  const Eigen::MatrixXd covariance = some_covariance();
  const Eigen::Vector3d change(1.0, -2.0, 0.5);
  const Eigen::Vector3d units(1000.0, 1.0, 1e-5);
  const Congruency plain = congruency(change, covariance, 12.0);
  const Congruency scaled = congruency(units.cwiseProduct(change),
                                       units.asDiagonal() * covariance * units.asDiagonal(), 12.0);
  CHECK(plain.h == 3);
  CHECK(plain.statistic ==
        doctest::Approx(change.dot(covariance.inverse() * change) / 3.0).epsilon(1e-7));
  CHECK(scaled.statistic == doctest::Approx(plain.statistic).epsilon(1e-7));
  CHECK(plain.probability == doctest::Approx(1.0 - f_cdf(plain.statistic, 3, 12)));
}

TEST_CASE("a direction nobody measured twice takes no part") {
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Ones();
  const Congruency test = congruency(Eigen::Vector2d(2.0, 2.0), covariance, infinity);
  CHECK(test.h == 1);
  CHECK(test.statistic == doctest::Approx(4.0));
}

TEST_CASE("a bias within its bound is granted, and no more than that") {
  const Eigen::Matrix2d covariance = Eigen::Matrix2d::Identity();
  const Eigen::Vector2d change(5.0, 0.0);
  Eigen::MatrixXd gains(2, 1);
  gains << 1.0, 0.0;
  const auto granted = [&](double width) {
    return congruency_beside(change, covariance, infinity, gains,
                             Eigen::VectorXd::Constant(1, width))
        .statistic;
  };
  CHECK(granted(0.0) == doctest::Approx(12.5));
  CHECK(granted(2.0) == doctest::Approx(4.5));
  CHECK(granted(9.0) == doctest::Approx(0.0));
  Eigen::MatrixXd two(2, 2);
  two << 1.0, 0.8, 0.0, 0.6;
  // Both at their bounds: (5 - 1 - 0.8, -0.6) is the nearest to 0 with the first at 1 and the second at 1.
  const double both =
      congruency_beside(change, covariance, infinity, two, Eigen::Vector2d(1.0, 1.0)).statistic;
  CHECK(both == doctest::Approx((3.2 * 3.2 + 0.36) / 2.0));
}

TEST_CASE("Welch and two one-sided tests give the known numbers on the sleep data") {
  // Two groups of ten: R's `sleep` data, from memory; results computed: dof 17.776, t -1.272 and -2.450
  // for bounds +-0.5.
  const std::array<double, 10> first = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
  const std::array<double, 10> second = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
  const auto mean_and_u = [](const std::array<double, 10>& x) {
    double mean = 0.0;
    for (const double v : x) mean += v / 10.0;
    double sum = 0.0;
    for (const double v : x) sum += (v - mean) * (v - mean);
    return std::pair(mean, std::sqrt(sum / 9.0 / 10.0));
  };
  const auto [m1, u1] = mean_and_u(first);
  const auto [m2, u2] = mean_and_u(second);
  const WelchDifference d = welch_difference(m2, u2, 9.0, m1, u1, 9.0);
  CHECK(d.dof == doctest::Approx(17.776).epsilon(5e-5));
  const Equivalence test = equivalence(d.difference, d.u, d.dof, -0.5, 0.5);
  CHECK(std::abs(test.t_above - -1.272) <= 0.0006);
  CHECK(std::abs(test.t_below - -2.450) <= 0.0006);
  CHECK_FALSE(test.within);
}

TEST_CASE("a small change is proven small only where the bias leaves room") {
  CHECK(equivalence(0.5, 1.0, infinity, -3.0, 3.0).within);
  CHECK_FALSE(equivalence(0.5, 1.0, infinity, -3.0, 3.0, 1.0).within);
  CHECK_FALSE(equivalence(0.0, 1.0, infinity, -1.0, 1.0, 2.0).within);
  CHECK_FALSE(equivalence(0.0, 0.0, infinity, -1.0, 1.0).within);
  // Only upwards there is an end: 1 below it is not far enough, 2 is.
  CHECK_FALSE(equivalence(0.0, 1.0, infinity, -infinity, 1.0).within);
  CHECK(equivalence(0.0, 1.0, infinity, -infinity, 2.0).within);
}

TEST_CASE("the congruency test finds changes as often as the noncentral F says") {
  // Changes of stated non-centrality with a covariance known by a common factor, chi2(dof) / dof.
  std::mt19937_64 engine(412);
  std::normal_distribution<double> normal;
  const Eigen::MatrixXd covariance = some_covariance();
  const Eigen::MatrixXd root = covariance.llt().matrixL();
  constexpr double dof = 9.0;
  std::chi_squared_distribution<double> spread(dof);
  for (const double lambda : {0.0, 8.0, 20.0}) {
    constexpr int draws = 10000;
    int seen = 0;
    for (int k = 0; k < draws; ++k) {
      const Eigen::Vector3d z(normal(engine) + std::sqrt(lambda), normal(engine), normal(engine));
      seen += congruency(root * z, spread(engine) / dof * covariance, dof).rejects(0.01);
    }
    CAPTURE(lambda);
    // Standard error at most 0.5 %; four of them.
    CHECK(std::abs(static_cast<double>(seen) / draws - f_test_power(0.01, 3.0, dof, lambda)) <
          0.02);
  }
}

namespace {

/// Parts of the unit matrix of size 4, each known with so many degrees of freedom.
struct GroupedCase {
  std::vector<Eigen::MatrixXd> parts;
  std::vector<double> dofs;
};

std::vector<GroupedCase> grouped_cases() {
  const Eigen::MatrixXd one = Eigen::Matrix4d::Identity();
  const Eigen::MatrixXd half = Eigen::Vector4d(1, 1, 0, 0).asDiagonal();
  const Eigen::MatrixXd first = Eigen::Vector4d(0.9, 0, 0, 0).asDiagonal();
  return {{{one}, {8}},
          {{half, one - half}, {8, 8}},
          {{0.25 * one, 0.25 * one, 0.25 * one, 0.25 * one}, {8, 8, 8, 8}},
          {{first, one - first}, {8, 40}},
          {{half, 0.5 * (one - half)}, {8, 12}}};
}

/// Share of changes the test calls significant at 1 % though nothing moved.
double false_alarms(const GroupedCase& grouped, int draws, std::mt19937_64& engine) {
  const Eigen::MatrixXd covariance = Eigen::Matrix4d::Identity();
  Eigen::MatrixXd errors = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(grouped.dofs.size()),
                                                 static_cast<Eigen::Index>(grouped.dofs.size()));
  for (std::size_t g = 0; g < grouped.dofs.size(); ++g) {
    errors(static_cast<Eigen::Index>(g), static_cast<Eigen::Index>(g)) = 2.0 / grouped.dofs[g];
  }
  const ScaledF reference = scaled_f(covariance, grouped.parts, independent_variances(errors));
  std::normal_distribution<double> normal;
  int alarms = 0;
  for (int k = 0; k < draws; ++k) {
    Eigen::MatrixXd truth = covariance;
    for (std::size_t g = 0; g < grouped.dofs.size(); ++g) {
      const double factor =
          grouped.dofs[g] / std::chi_squared_distribution<double>(grouped.dofs[g])(engine);
      truth += (factor - 1.0) * grouped.parts[g];
    }
    Eigen::Vector4d z;
    for (double& part : z) part = normal(engine);
    const Eigen::VectorXd change = truth.llt().matrixL() * z;
    alarms += congruency(change, covariance, reference).rejects(0.01);
  }
  return static_cast<double>(alarms) / draws;
}

}  // namespace

TEST_CASE("several variances that were estimated keep the level of the test") {
  std::mt19937_64 engine(413);
  for (const GroupedCase& grouped : grouped_cases()) {
    CAPTURE(grouped.parts.size());
    const double share = false_alarms(grouped, 30000, engine);
    // Standard error 0.06 %; three of them beyond 0.8 and 1.1 %.
    CHECK(share > 0.0062);
    CHECK(share < 0.0128);
  }
}

namespace {

/// Two variances f with stated dofs of which a survey of n readings saw only the sum, in shares 1 - u and u: the
/// mean of the sum, by quadrature over the posterior in log f.
double mean_of_sum(double n, double u, double stated_dof) {
  double weight = 0.0;
  double sum = 0.0;
  for (double a = -3.0; a < 4.0; a += 0.02) {
    for (double b = -3.0; b < 4.0; b += 0.02) {
      const double both = (1.0 - u) * std::exp(a) + u * std::exp(b);
      const double log_density = -0.5 * n * (std::log(both) + 1.0 / both) -
                                 0.5 * stated_dof * (a + std::exp(-a) + b + std::exp(-b));
      const double density = std::exp(log_density + 0.5 * n + stated_dof);
      weight += density;
      sum += density * both;
    }
  }
  return sum / weight;
}

}  // namespace

TEST_CASE("of variances seen only together the sum is as large as its own certainty says") {
  struct Seen {
    double n, u;
  };
  for (const Seen& seen : {Seen{24, 0.25}, {24, 0.5}, {6, 0.25}, {60, 0.25}, {24, 0.1}}) {
    CAPTURE(seen.n);
    CAPTURE(seen.u);
    const Eigen::Vector2d shares(1.0 - seen.u, seen.u);
    const Eigen::Matrix2d information =
        0.5 * seen.n * shares * shares.transpose() + 4.0 * Eigen::Matrix2d::Identity();
    const Eigen::Matrix2d errors = information.inverse();
    const VarianceErrors together = variances_found_together(errors, Eigen::Vector2d(8.0, 8.0));
    const double by_quadrature = mean_of_sum(seen.n, seen.u, 8.0);
    // Second order in 1 / n: the third, (2 / 8)^3, is 0.016.
    CHECK(std::abs(shares.dot(together.means) - by_quadrature) < 0.017);
    const double taken_alone = shares.dot(independent_variances(errors).means);
    CHECK(shares.dot(together.means) < taken_alone);
  }
}

TEST_CASE("variances seen each by itself have the mean of the inverse chi-squared, exact ones 1") {
  const Eigen::Vector3d errors(2.0 / 20.0, 2.0 / 12.0, 0.0);
  const VarianceErrors found = variances_found_together(Eigen::Matrix3d(errors.asDiagonal()),
                                                        Eigen::Vector3d(8.0, 8.0, infinity));
  CHECK(found.means[0] == doctest::Approx(20.0 / 18.0));
  CHECK(found.means[1] == doctest::Approx(12.0 / 10.0));
  CHECK(found.means[2] == 1.0);
}

TEST_CASE("one variance for everything is the F of the textbook, exact ones chi-squared") {
  const Eigen::MatrixXd covariance = some_covariance();
  const ScaledF one = scaled_f(covariance, {covariance},
                               independent_variances(Eigen::MatrixXd::Constant(1, 1, 0.25)));
  CHECK(one.dof == doctest::Approx(8.0));
  CHECK(one.scale == doctest::Approx(1.0));
  const ScaledF exact =
      scaled_f(covariance, {covariance}, independent_variances(Eigen::MatrixXd::Zero(1, 1)));
  CHECK(exact.dof == infinity);
  CHECK(exact.scale == doctest::Approx(1.0));
}

TEST_CASE("what a grant of biases leaves is sooner known to be more than a limit, and the same") {
  std::mt19937_64 engine(414);
  std::normal_distribution<double> normal;
  const auto drawn = [&](Eigen::Index rows, Eigen::Index columns) {
    return Eigen::MatrixXd(
        Eigen::MatrixXd::NullaryExpr(rows, columns, [&] { return normal(engine); }));
  };
  for (int k = 0; k < 200; ++k) {
    const BiasGrant grant(Eigen::MatrixXd::Identity(4, 4), drawn(4, 12), drawn(12, 1).cwiseAbs());
    const Eigen::VectorXd change = 6.0 * drawn(4, 1);
    const double left = grant.squared_length_left(change);
    const Eigen::VectorXd whitened = grant.whiten() * change;
    CHECK(grant.leaves_more(whitened, left * (1.0 - 1e-6) - 1e-9));
    CHECK_FALSE(grant.leaves_more(whitened, left * (1.0 + 1e-6) + 1e-9));
  }
}

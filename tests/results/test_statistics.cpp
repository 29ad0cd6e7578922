// Quantiles against published tables, closed forms and each other.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "pivotrace/results/statistics.h"

using namespace pivotrace;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

struct TableRow {
  double dof;
  double value;
  double half_unit;  ///< of the last printed digit
};

double probability() { return *rc::gen::inRange(1, 999999) / 1e6; }
double degrees_of_freedom() { return *rc::gen::inRange(5, 5000) / 10.0; }

}  // namespace

TEST_CASE("Student t agrees with the published two-sided 95 % table") {
  // NIST Technical Note 1297 table B.1 = JCGM 100:2008 table G.2.
  const std::array<TableRow, 9> table = {{{1, 12.71, 0.005},
                                          {2, 4.30, 0.005},
                                          {3, 3.18, 0.005},
                                          {5, 2.57, 0.005},
                                          {8, 2.31, 0.005},
                                          {10, 2.23, 0.005},
                                          {20, 2.09, 0.005},
                                          {30, 2.04, 0.005},
                                          {100, 1.984, 0.0005}}};
  for (const TableRow& row : table) {
    CAPTURE(row.dof);
    CHECK(std::abs(student_t_quantile(0.975, row.dof) - row.value) <= row.half_unit);
  }
}

TEST_CASE("Chi-squared agrees with the published 0.95 table") {
  // Standard table, as in the NIST/SEMATECH e-Handbook 1.3.6.7.4.
  const std::array<TableRow, 5> table = {{{1, 3.84146, 5e-6},
                                          {5, 11.07050, 5e-6},
                                          {10, 18.30704, 5e-6},
                                          {30, 43.7730, 5e-5},
                                          {100, 124.3421, 5e-5}}};
  for (const TableRow& row : table) {
    CAPTURE(row.dof);
    CHECK(std::abs(chi_squared_quantile(0.95, row.dof) - row.value) <= row.half_unit);
  }
}

TEST_CASE("F agrees with the published 0.95 table") {
  // NIST/SEMATECH e-Handbook 1.3.6.7.3; the three values are from memory of that table.
  CHECK(std::abs(f_quantile(0.95, 2, 10) - 4.103) <= 0.0005);
  CHECK(std::abs(f_quantile(0.95, 5, 10) - 3.326) <= 0.0005);
  CHECK(std::abs(f_quantile(0.95, 4, 20) - 2.866) <= 0.0005);
}

TEST_CASE("quantiles that have a closed form take it") {
  for (const double p : {0.001, 0.1, 0.25, 0.6, 0.975, 0.9995}) {
    CAPTURE(p);
    CHECK(student_t_quantile(p, 1.0) ==
          doctest::Approx(std::tan(std::numbers::pi * (p - 0.5))).epsilon(1e-11));
    CHECK(student_t_quantile(p, 2.0) ==
          doctest::Approx((2.0 * p - 1.0) / std::sqrt(2.0 * p * (1.0 - p))).epsilon(1e-11));
    CHECK(chi_squared_quantile(p, 2.0) == doctest::Approx(-2.0 * std::log1p(-p)).epsilon(1e-11));
    CHECK(f_quantile(p, 2.0, 2.0) == doctest::Approx(p / (1.0 - p)).epsilon(1e-11));
    CHECK(normal_cdf(normal_quantile(p)) == doctest::Approx(p).epsilon(1e-11));
    CHECK(normal_cdf(1.3) == doctest::Approx(0.5 * std::erfc(-1.3 / std::numbers::sqrt2)));
  }
  // 1.959964: the familiar 97.5 % point, here to the digits of any printed table.
  CHECK(std::abs(normal_quantile(0.975) - 1.959964) <= 5e-7);
}

TEST_CASE("infinite degrees of freedom are the limits they should be") {
  CHECK(student_t_quantile(0.975, infinity) == normal_quantile(0.975));
  CHECK(student_t_quantile(0.975, 1e9) == doctest::Approx(normal_quantile(0.975)).epsilon(1e-8));
  CHECK(student_t_cdf(1.2, infinity) == normal_cdf(1.2));
  CHECK(f_quantile(0.95, 3.0, infinity) == doctest::Approx(f_quantile(0.95, 3.0, 1e9)));
  CHECK(f_quantile(0.95, infinity, 3.0) == doctest::Approx(f_quantile(0.95, 1e9, 3.0)));
  CHECK(f_cdf(1.7, 3.0, infinity) == doctest::Approx(f_cdf(1.7, 3.0, 1e9)));
  CHECK(f_cdf(1.7, infinity, 3.0) == doctest::Approx(f_cdf(1.7, 1e9, 3.0)));
}

TEST_CASE("a quantile undoes its distribution function") {
  // A failing case prints the seed that reproduces it (RC_PARAMS).
  CHECK(rc::check("Student t", [] {
    const double p = probability();
    const double dof = degrees_of_freedom();
    RC_ASSERT(std::abs(student_t_cdf(student_t_quantile(p, dof), dof) - p) < 1e-10);
  }));
  CHECK(rc::check("chi-squared", [] {
    const double p = probability();
    const double dof = degrees_of_freedom();
    RC_ASSERT(std::abs(chi_squared_cdf(chi_squared_quantile(p, dof), dof) - p) < 1e-10);
  }));
  CHECK(rc::check("F", [] {
    const double p = probability();
    const double d1 = degrees_of_freedom();
    const double d2 = degrees_of_freedom();
    RC_ASSERT(std::abs(f_cdf(f_quantile(p, d1, d2), d1, d2) - p) < 1e-9);
  }));
  CHECK(rc::check("F with one numerator degree is t squared", [] {
    const double dof = degrees_of_freedom();
    const double t = student_t_quantile(0.975, dof);
    RC_ASSERT(std::abs(f_quantile(0.95, 1.0, dof) / (t * t) - 1.0) < 1e-9);
  }));
}

TEST_CASE("the smallest detectable blunder is that of the geodetic literature") {
  // Baarda 1968: alpha 0.1 %, power 80 %: lambda0 = 17.07, 4.13 sigma.
  CHECK(std::abs(detectable_noncentrality(0.001, 0.80, 1.0) - 17.07) <= 0.01);
  CHECK(std::abs(minimal_detectable_factor(0.001, 0.80) - 4.13) <= 0.005);
}

TEST_CASE("the smallest detectable blunder follows from two normal tails") {
  // Second route to the same number: a two-sided normal test of a shifted reading.
  for (const double alpha : {0.05, 0.01, 0.001}) {
    for (const double power : {0.5, 0.8, 0.95}) {
      CAPTURE(alpha);
      CAPTURE(power);
      const double shift = minimal_detectable_factor(alpha, power);
      const double limit = normal_quantile(1.0 - 0.5 * alpha);
      const double found = normal_cdf(shift - limit) + normal_cdf(-shift - limit);
      CHECK(found == doctest::Approx(power).epsilon(1e-9));
    }
  }
}

TEST_CASE("the smallest detectable shift of several parameters together") {
  // Computed for this project by an independent program: sqrt(lambda0) for h parameters.
  CHECK(std::abs(std::sqrt(detectable_noncentrality(0.01, 0.80, 2)) - 3.73) <= 0.005);
  CHECK(std::abs(std::sqrt(detectable_noncentrality(0.01, 0.80, 4)) - 4.09) <= 0.005);
  CHECK(std::abs(std::sqrt(detectable_noncentrality(0.05, 0.80, 2)) - 3.10) <= 0.005);
  CHECK(std::abs(std::sqrt(detectable_noncentrality(0.001, 0.80, 2)) - 4.43) <= 0.005);
}

TEST_CASE("effective degrees of freedom of the end-gauge example of the GUM") {
  // JCGM 100:2008 H.1.6, figures from memory of that clause: contributions in nm.
  const std::array<double, 3> comparison = {5.8, 3.9, 6.7};
  const std::array<double, 3> comparison_dof = {24, 5, 8};
  // The clause puts the rounded 9.7 nm into the numerator instead of the root of the sum.
  const double sum = 5.8 * 5.8 + 3.9 * 3.9 + 6.7 * 6.7;
  const double as_printed = std::pow(9.7 * 9.7 / sum, 2);
  CHECK(std::abs(effective_dof(comparison, comparison_dof) * as_printed - 25.6) <= 0.05);

  const std::array<double, 4> parts = {25.0, 9.7, 2.9, 16.6};
  const std::array<double, 4> dof = {18, 25.6, 50, 2};
  const double effective = effective_dof(parts, dof);
  CHECK(std::abs(effective - 16.7) <= 0.1);  // the clause's parts have more digits than it prints
  // The clause truncates to 16 and takes t for 99 %: 2.92.
  CHECK(std::abs(student_t_quantile(0.995, std::floor(effective)) - 2.92) <= 0.005);
}

TEST_CASE("effective degrees of freedom in the limits") {
  const std::array<double, 2> equal = {2.0, 2.0};
  CHECK(effective_dof(equal, std::array<double, 2>{7, 7}) == doctest::Approx(14));
  CHECK(effective_dof(equal, std::array<double, 2>{infinity, infinity}) == infinity);
  CHECK(effective_dof(equal, std::array<double, 2>{7, infinity}) == doctest::Approx(28));
  CHECK(std::isnan(effective_dof({}, {})));
  CHECK(std::isnan(effective_dof(equal, std::array<double, 1>{7})));
  CHECK(std::isnan(effective_dof(equal, std::array<double, 2>{7, 0})));
  CHECK(std::isnan(
      effective_dof(std::array<double, 2>{not_a_number, 1}, std::array<double, 2>{7, 7})));
}

TEST_CASE("far tails of chi-squared, by their closed forms") {
  // Even degrees of freedom: P(X > x) = e^(-x/2) sum of (x/2)^k / k!, k < dof / 2; three: with erfc
  // (both follow from integration by parts).
  for (const double x : {1e-3, 0.7, 5.0, 40.0, 99.0, 101.0, 104.0, 130.0, 1.3e3, 2.5e7}) {
    CAPTURE(x);
    const double half = 0.5 * x;
    CHECK(log_chi_squared_tail(x, 2) == doctest::Approx(-half).epsilon(1e-13));
    CHECK(log_chi_squared_tail(x, 4) == doctest::Approx(std::log1p(half) - half).epsilon(1e-12));
    const double six = std::log(1.0 + half + 0.5 * half * half) - half;
    CHECK(log_chi_squared_tail(x, 6) == doctest::Approx(six).epsilon(1e-12));
    if (x > 1400.0) continue;  // beyond the reach of erfc
    const double root = std::sqrt(half);
    const double three =
        std::erfc(root) + 2.0 * root * std::exp(-half) / std::sqrt(std::numbers::pi);
    CHECK(log_chi_squared_tail(x, 3) == doctest::Approx(std::log(three)).epsilon(1e-12));
  }
  CHECK(log_chi_squared_tail(0.0, 3) == 0.0);
  CHECK(log_chi_squared_tail(infinity, 3) == -infinity);
}

TEST_CASE("the deviate of a tail undoes the tail, near and far") {
  // |Z| > w is chi2(1) > w^2.
  for (const double w : {1e-3, 0.5, 1.96, 3.29, 8.0, 30.0, 34.0, 36.0, 100.0, 5000.0}) {
    CAPTURE(w);
    const double back = normal_deviate_of_log_tail(log_chi_squared_tail(w * w, 1));
    CHECK(back == doctest::Approx(w).epsilon(1e-12));
  }
  CHECK(normal_deviate_of_log_tail(0.0) == 0.0);
  CHECK(normal_deviate_of_log_tail(-infinity) == infinity);
  CHECK(normal_deviate_of_log_tail(std::log(0.05)) == doctest::Approx(1.959964).epsilon(1e-6));
}

TEST_CASE("far tails of F, by the closed form for two degrees of freedom above") {
  // P(F > x) = (1 + 2 x / d2)^(-d2 / 2) for d1 = 2.
  for (const double d2 : {3.0, 12.0, 50.0}) {
    for (const double x : {0.1, 3.0, 100.0, 1e5}) {
      CAPTURE(x);
      CHECK(log_f_tail(x, 2, d2) ==
            doctest::Approx(-0.5 * d2 * std::log1p(2.0 * x / d2)).epsilon(1e-10));
    }
  }
  CHECK(log_f_tail(4.0, 3, infinity) == doctest::Approx(log_chi_squared_tail(12.0, 3)));
  CHECK(log_f_tail(0.0, 3, 5) == 0.0);
}

TEST_CASE("arguments outside the range give NaN, never a plausible number") {
  for (const double p : {-0.1, 1.1, not_a_number}) {
    CAPTURE(p);
    CHECK(std::isnan(normal_quantile(p)));
    CHECK(std::isnan(student_t_quantile(p, 5)));
    CHECK(std::isnan(chi_squared_quantile(p, 5)));
    CHECK(std::isnan(f_quantile(p, 5, 5)));
  }
  for (const double dof : {0.0, -1.0, not_a_number}) {
    CAPTURE(dof);
    CHECK(std::isnan(student_t_quantile(0.9, dof)));
    CHECK(std::isnan(student_t_cdf(0.9, dof)));
    CHECK(std::isnan(chi_squared_quantile(0.9, dof)));
    CHECK(std::isnan(chi_squared_cdf(0.9, dof)));
    CHECK(std::isnan(f_quantile(0.9, dof, 5)));
    CHECK(std::isnan(f_quantile(0.9, 5, dof)));
    CHECK(std::isnan(detectable_noncentrality(0.001, 0.8, dof)));
  }
  CHECK(std::isnan(normal_cdf(not_a_number)));
  CHECK(std::isnan(normal_deviate_of_log_tail(not_a_number)));
  CHECK(std::isnan(log_chi_squared_tail(1.0, 0.0)));
  CHECK(std::isnan(log_chi_squared_tail(not_a_number, 2.0)));
  CHECK(std::isnan(log_f_tail(1.0, -1.0, 2.0)));
  CHECK(std::isnan(minimal_detectable_factor(0.0, 0.8)));
  CHECK(std::isnan(minimal_detectable_factor(0.5, 0.2)));
  CHECK(std::isnan(minimal_detectable_factor(0.001, 1.0)));
  CHECK(normal_quantile(0.0) == -infinity);
  CHECK(student_t_quantile(1.0, 3) == infinity);
  CHECK(chi_squared_quantile(1.0, 3) == infinity);
  CHECK(chi_squared_cdf(-1.0, 3) == 0.0);
  CHECK(f_cdf(-1.0, 3, 3) == 0.0);
}

TEST_CASE("the factor of an interval about a bounded bias") {
  // Folded normal: the value exceeded with probability 5 % by |N(t, 1)| (Armstrong & Kolesar 2018,
  // "Optimal inference in a class of regression models", cv of level 0.05; from memory).
  struct Row {
    double t, cv;
  };
  for (const Row row : {Row{0.0, 1.960}, Row{0.1, 1.970}, Row{0.2, 1.999}, Row{0.3, 2.045},
                        Row{0.4, 2.107}, Row{0.5, 2.181}, Row{1.0, 2.646}, Row{1.5, 3.145}}) {
    INFO(row.t);
    CHECK(std::abs(biased_expanded(1.0, infinity, row.t) - row.cv) <= 0.0011);
  }
  // It solves the equation it is defined by, for any degrees of freedom and scale.
  for (const double dof : {2.0, 8.0, 40.0, infinity}) {
    for (const double B : {0.0, 0.003, 0.4, 2.0, 50.0}) {
      const double u = 0.7;
      const double U = biased_expanded(u, dof, B);
      CHECK(student_t_cdf((U - B) / u, dof) - student_t_cdf((-U - B) / u, dof) ==
            doctest::Approx(0.95).epsilon(1e-9));
    }
    CHECK(biased_expanded(2.0, dof, 0.0) == doctest::Approx(2.0 * student_t_quantile(0.975, dof)));
    CHECK(biased_expanded(1e-9, dof, 3.0) == doctest::Approx(3.0).epsilon(1e-6));
  }
  CHECK(biased_expanded(0.0, 5.0, 0.25) == 0.25);
  CHECK(std::isnan(biased_expanded(-1.0, 5.0, 0.0)));
  CHECK(std::isnan(biased_expanded(1.0, 0.0, 0.0)));
}

TEST_CASE("bounds drawn together: the additive examples of JCGM 101") {
  // JCGM 101:2008, 9.2: Y = X1 + X2 + X3 + X4, intervals of 95 % by the Monte Carlo method (tables 2 to 4,
  // from memory). Four standard normal quantities: 3.92.
  CHECK(bounded_expanded(2.0, infinity, 0.0) == doctest::Approx(3.92).epsilon(1e-3));
  // 9.2.3: four rectangular ones of standard deviation 1: 3.88, and no more than 2 % is given away.
  const double half_width = std::sqrt(3.0);
  const double four = bounded_expanded(0.0, infinity, 2.0 * half_width);
  CHECK(four >= 3.88);
  CHECK(four <= 1.02 * 3.88);
  // 9.2.4: one of standard deviation 10 beside three of 1: 17.0. One effect needs its bound alone.
  const double one_large = bounded_expanded(0.0, infinity, half_width * std::sqrt(103.0));
  CHECK(one_large >= 17.0);
  CHECK(one_large <= 1.18 * 17.0);
  // Where the random part counts, the bias alone decides.
  for (const double B : {0.0, 0.5, 2.0, 8.0}) {
    CHECK(bounded_expanded(1.0, infinity, B) == biased_expanded(1.0, infinity, B));
  }
  CHECK(std::isnan(bounded_expanded(-1.0, 5.0, 0.0)));
}

TEST_CASE("the widening of a square undoes its dof") {
  // t_0.975(8) = 2.306, z = 1.960 (tables of Student's t, from memory)
  CHECK(square_widening(8.0) == doctest::Approx(std::pow(2.306 / 1.95996, 2) - 1.0).epsilon(1e-4));
  CHECK(square_widening(infinity) == 0.0);
  CHECK(std::isinf(dof_of_square_widening(0.0)));
  CHECK(std::isnan(dof_of_square_widening(-1.0)));
  for (const double dof : {1.5, 2.0, 4.0, 8.0, 33.3, 1e3, 1e6}) {
    CHECK(dof_of_square_widening(square_widening(dof)) == doctest::Approx(dof).epsilon(1e-6));
  }
}

// A sum of Student's t, each of its own scale and dof (Behrens and Fisher's problem), by convolution:
// the half-widths whose squares add hold 95 % of it, less by at most 0.1 %, more by at most 1.2 %.
TEST_CASE("half-widths added by squares hold a sum of two independent Student's t") {
  for (const double first_dof : {4.0, 8.0, 30.0}) {
    for (const double second_dof : {4.0, 8.0, 30.0}) {
      for (const double scale : {0.2, 0.5, 1.0, 2.0}) {
        const double wide = std::sqrt(1.0 + square_widening(first_dof) +
                                      scale * scale * (1.0 + square_widening(second_dof)));
        const double U95 = normal_quantile(0.975) * wide;
        // P(|T1 + scale T2| <= U) by the quantiles of T2 in equal shares
        constexpr int shares = 4000;
        double held = 0.0;
        for (int k = 0; k < shares; ++k) {
          const double second = scale * student_t_quantile((k + 0.5) / shares, second_dof);
          held += student_t_cdf(U95 - second, first_dof) - student_t_cdf(-U95 - second, first_dof);
        }
        held /= shares;
        INFO("dof ", first_dof, " and ", second_dof, ", scale ", scale);
        CHECK(held >= 0.949);
        CHECK(held <= 0.962);
      }
    }
  }
}

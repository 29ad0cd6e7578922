// Angles and limits of the core against the standard library and Boost.
#include <doctest/doctest.h>

#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <random>

#include "board.h"

namespace pivotrace::testing {

namespace bm = boost::math;

TEST_CASE("sine and cosine of whole micro-degrees are right to the last digit or two") {
  std::mt19937_64 random(31);
  std::uniform_int_distribution<std::int32_t> any(-2000000000, 2000000000);
  for (const Build* build : {&board_f32_1(), &board_f64_1()}) {
    const double digit = build->is_double ? 2.3e-16 : 1.2e-7;
    CAPTURE(build->name);
    for (int i = 0; i < 20000; ++i) {
      const std::int32_t angle = i < 200 ? (i - 100) * 15000000 : any(random);
      const long double exact =
          static_cast<long double>(angle % 360000000) * 1e-6L * M_PIl / 180.0L;
      CAPTURE(angle);
      CHECK(std::abs(build->sine(angle) - static_cast<double>(std::sin(exact))) <= 1.2 * digit);
      CHECK(std::abs(build->cosine(angle) - static_cast<double>(std::cos(exact))) <= 1.2 * digit);
    }
    CHECK(build->sine(90000000) == 1.0);
    CHECK(build->cosine(90000000) == 0.0);
    CHECK(build->sine(-1980000000) == 0.0);
    CHECK(build->cosine(-1980000000) == -1.0);
  }
}

TEST_CASE("the arc tangent of a lean") {
  for (double t = -0.25; t <= 0.25; t += 0.001) {
    CHECK(std::abs(board_f64_1().arc_tangent(t) - std::atan(t)) < 2e-9);
    CHECK(std::abs(board_f32_1().arc_tangent(t) - std::atan(t)) < 3e-8);
  }
}

TEST_CASE("Student's t at 0.975 within 0.05 % from 4 degrees of freedom on") {
  for (const std::int32_t dof : {4, 5, 8, 12, 30, 100, 1000, 100000}) {
    CAPTURE(dof);
    const double exact = bm::quantile(bm::students_t(dof), 0.975);
    CHECK(board_f64_1().student_975(dof) == doctest::Approx(exact).epsilon(5e-4));
  }
  CHECK(board_f64_1().student_975(0) == 1.9599639845400542);
}

TEST_CASE("Fisher's F within 5 % where the tests use it") {
  const bm::normal standard;
  for (const double tail : {0.005, 1e-3, 1e-4}) {
    for (const double d : {1.0, 2.0, 3.0, 12.0, 40.0}) {
      for (const double dof : {20.0, 45.0, 200.0}) {
        CAPTURE(tail);
        CAPTURE(d);
        CAPTURE(dof);
        const double z = bm::quantile(bm::complement(standard, tail));
        const double exact = bm::quantile(bm::complement(bm::fisher_f(d, dof), tail));
        const double share = d == 1.0 ? 0.09 : 0.05;
        CHECK(board_f64_1().fisher_f(z, d, dof) == doctest::Approx(exact).epsilon(share));
      }
    }
  }
}

TEST_CASE("deviates of the worst of many tests within 0.01") {
  const bm::normal standard;
  for (const std::int32_t tests : {1, 2, 3, 12, 24, 60, 120, 500, 1000, 4096}) {
    CAPTURE(tests);
    const double exact = bm::quantile(bm::complement(standard, 0.005 / tests));
    CHECK(std::abs(board_f64_1().deviate_of_any(tests) - exact) < 0.01);
  }
}

}  // namespace pivotrace::testing

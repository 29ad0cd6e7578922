// The damping between two steps. Source: H. B. Nielsen, Damping Parameter in Marquardt's Method, report
// IMM-REP-1999-05, Technical University of Denmark, 1999 (from memory): the share kept is
// max(1/3, 1 - (2 rho - 1)^3).
#include <doctest/doctest.h>

#include "geometry/damped_gauss_newton.h"
#include "geometry/triangular_rows.h"

using namespace pivotrace;

TEST_CASE("a step as good as expected lowers the damping to a third, a poor one raises it") {
  CHECK(damping_kept(1.0) == doctest::Approx(1.0 / 3.0));
  CHECK(damping_kept(1.5) == doctest::Approx(1.0 / 3.0));
  CHECK(damping_kept(0.75) == doctest::Approx(0.875));
  CHECK(damping_kept(0.5) == doctest::Approx(1.0));
  CHECK(damping_kept(0.0) == doctest::Approx(2.0));
}

TEST_CASE("the drop expected of a step is what straight rows lose by it") {
  TriangularRows<2> rows;
  rows.add({2.0, 1.0}, 3.0);
  rows.add({-1.0, 4.0}, 5.0);
  rows.add({0.5, 0.5}, -2.0);
  const Eigen::Vector2d step(0.3, -0.7);
  const auto sum = [](const Eigen::Vector2d& x) {
    const Eigen::Vector3d left(2.0 * x[0] + x[1] - 3.0, -x[0] + 4.0 * x[1] - 5.0,
                               0.5 * x[0] + 0.5 * x[1] + 2.0);
    return left.squaredNorm();
  };
  CHECK(rows.expected_drop(step) == doctest::Approx(sum({0.0, 0.0}) - sum(step)).epsilon(1e-12));
  const Eigen::Vector2d best = rows.solve();
  CHECK(rows.expected_drop(best) == doctest::Approx(sum({0.0, 0.0}) - sum(best)).epsilon(1e-12));
}

#include <doctest/doctest.h>

#include "pivotrace/machine/line_chart.h"

using namespace pivotrace;

TEST_CASE("four numbers and a line are the same thing, there and back") {
  const Line nominal{{100.0, -50.0, 20.0}, Eigen::Vector3d(0.1, 0.2, 1.0).normalized()};
  const LineChart chart(nominal);
  const LineParameters p(0.3, -0.2, 0.01, -0.02);
  const Line line = chart.line(p);
  CHECK((chart.parameters(line) - p).norm() < 1e-13);
  // The point stays in the plane the nominal line is quoted in.
  CHECK(nominal.direction.dot(line.point_mm - nominal.point_mm) == doctest::Approx(0.0));
  CHECK(line.direction.norm() == doctest::Approx(1.0).epsilon(1e-15));
}

// Every derivative by three routes: the closed form, central differences, and a dual number that
// goes through the formula of the gap itself.
#include <doctest/doctest.h>

#include <cmath>

#include "contact/random_contact.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

void put(Row<double>& row, int first, const contact::Vec3<double>& v) {
  for (int i = 0; i < 3; ++i) row[first + i] = v[i];
}

/// The closed form, in the order of the row.
Row<double> closed_form(const Case& c) {
  const contact::GapGradient<double> g =
      contact::gap_gradient(chain_of(c.row), c.last, reading_of(c, c.row), c.kind, place_of(c.row),
                            c.row[stylus_radius_at]);
  Row<double> row{};
  put(row, shown_first, g.chain.by_shown);
  put(row, offset_first, g.chain.by_offset);
  put(row, place_point_first, -g.surface.outward);
  put(row, place_direction_first, g.surface.by_direction);
  row[radius_at] = g.surface.by_radius;
  row[stylus_radius_at] = g.surface.by_stylus_radius;
  for (int k = 0; k < 4; ++k) {
    put(row, axis_first + k * per_axis, g.chain.by_axis_point[k]);
    put(row, axis_first + k * per_axis + 3, g.chain.by_axis_direction[k]);
    row[axis_first + k * per_axis + 6] = g.chain.by_angle[k];
  }
  return row;
}

double by_dual_number(const Case& c, int number) {
  Row<Dual> row;
  for (int i = 0; i < numbers; ++i) row[i] = Dual(c.row[i], i == number ? 1.0 : 0.0);
  return gap_from(c, row).slope;
}

/// Over five points, (4 D(h) - D(2 h)) / 3: levers of half a metre over a ball of 15 mm make the
/// third derivative large, and this is free of it.
double by_central_difference(const Case& c, int number) {
  constexpr double step = 1e-5;
  const auto over = [&](double h) {
    Row<double> low = c.row;
    Row<double> high = c.row;
    low[number] -= h;
    high[number] += h;
    return (gap_from(c, high) - gap_from(c, low)) / (2.0 * h);
  };
  return (4.0 * over(step) - over(2.0 * step)) / 3.0;
}

}  // namespace

TEST_CASE("closed form, dual number and central difference are one derivative") {
  for (unsigned seed = 1; seed <= 120; ++seed) {
    const Case c = random_case(seed);
    const Row<double> closed = closed_form(c);
    for (int number = 0; number < numbers; ++number) {
      CAPTURE(seed);
      CAPTURE(number);
      const double size = 1.0 + std::abs(closed[number]);
      CHECK(std::abs(closed[number] - by_dual_number(c, number)) < 1e-12 * size);
      CHECK(std::abs(closed[number] - by_central_difference(c, number)) < 1e-7 * size);
    }
  }
}

TEST_CASE("the gap that comes with the derivatives is the gap") {
  for (unsigned seed = 1; seed <= 40; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    const double with = contact::gap_gradient(chain_of(c.row), c.last, reading_of(c, c.row), c.kind,
                                              place_of(c.row), c.row[stylus_radius_at])
                            .surface.gap;
    CHECK(with == gap_from(c, c.row));
  }
}

TEST_CASE("axes a point does not pass have no derivative") {
  Case c = random_case(5);
  REQUIRE(c.last == -1);
  const Row<double> closed = closed_form(c);
  for (const int work_axis : {0, 2}) {
    for (int i = 0; i < per_axis; ++i) CHECK(closed[axis_first + work_axis * per_axis + i] == 0.0);
  }
}

#include <doctest/doctest.h>

#include <cmath>

#include "contact/dual.h"
#include "pivotrace/contact/near_line.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using contact::NearLine;
using contact::Vec3;

namespace {

template <class S>
NearLine<S> line_along_z() {
  return {{{S(1.0), S(2.0), S(3.0)}},
          {{S(0.0), S(0.0), S(1.0)}},
          {{S(1.0), S(0.0), S(0.0)}},
          {{S(0.0), S(1.0), S(0.0)}}};
}

}  // namespace

TEST_CASE("shifts move the point across, tilts are tangents of the lean") {
  const NearLine<double> line = line_along_z<double>();
  const Vec3<double> point = contact::shifted_point(line, 0.5, -0.25);
  CHECK(point[0] == 1.5);
  CHECK(point[1] == 1.75);
  CHECK(point[2] == 3.0);
  const Vec3<double> direction = contact::tilted_direction(line, 1.0, 0.0).direction;
  CHECK(direction[0] == doctest::Approx(std::sqrt(0.5)).epsilon(1e-15));
  CHECK(direction[2] == doctest::Approx(std::sqrt(0.5)).epsilon(1e-15));
  CHECK(contact::length(contact::tilted_direction(line, 0.3, -0.7).direction) ==
        doctest::Approx(1.0).epsilon(1e-15));
}

TEST_CASE("the derivatives by the tilts are those of a dual number") {
  const double a = 0.3;
  const double b = -0.7;
  const NearLine<double> line = line_along_z<double>();
  const contact::Lean<double> lean = contact::tilted_direction(line, a, b);
  const Vec3<double> by_first = contact::by_tilt(lean, line.first);
  const Vec3<double> by_second = contact::by_tilt(lean, line.second);
  const NearLine<Dual> dual = line_along_z<Dual>();
  const Vec3<Dual> first = contact::tilted_direction(dual, Dual(a, 1.0), Dual(b)).direction;
  const Vec3<Dual> second = contact::tilted_direction(dual, Dual(a), Dual(b, 1.0)).direction;
  for (int i = 0; i < 3; ++i) {
    CHECK(by_first[i] == doctest::Approx(first[i].slope).epsilon(1e-14));
    CHECK(by_second[i] == doctest::Approx(second[i].slope).epsilon(1e-14));
  }
}

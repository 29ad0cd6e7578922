#include <doctest/doctest.h>

#include <cmath>

#include "contact/random_contact.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using contact::Place;
using contact::Vec3;

namespace {

double gap(ArtefactKind kind, const Place<double>& place, const Vec3<double>& p) {
  return contact::gap(kind, place, 3.0, p);
}

}  // namespace

TEST_CASE("gaps worked by hand") {
  const Place<double> place{{{10, 20, 30}}, {{0, 0, 1}}, 12.5};
  CHECK(gap(ArtefactKind::ball, place, {{10, 20, 50}}) == 20.0 - 15.5);
  CHECK(gap(ArtefactKind::ball, place, {{13, 24, 42}}) == 13.0 - 15.5);
  CHECK(gap(ArtefactKind::pin, place, {{30, 20, 99}}) == 20.0 - 15.5);
  CHECK(gap(ArtefactKind::bore, place, {{14, 23, -5}}) == 9.5 - 5.0);
  CHECK(gap(ArtefactKind::flat, place, {{0, 0, 35}}) == 2.0);
}

TEST_CASE("the gap grows by a micrometre for a micrometre along the outward normal") {
  for (unsigned seed = 1; seed <= 40; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    const Place<double> place = place_of(c.row);
    const Vec3<double> p =
        contact::stylus_in_carried(chain_of(c.row), c.last, reading_of(c, c.row));
    const Vec3<double> n = contact::outward_normal(c.kind, place, p);
    CHECK(contact::length(n) == doctest::Approx(1.0).epsilon(1e-14));
    const Vec3<double> q = p + 0.001 * n;
    CHECK(std::abs(gap(c.kind, place, q) - gap(c.kind, place, p) - 0.001) < 1e-12);
  }
}

TEST_CASE("on the very centre there is a gap, a direction of 0 and no number that is none") {
  const Place<double> place{{{10, 20, 30}}, {{0, 0, 1}}, 12.5};
  const Vec3<double> centre{{10, 20, 30}};
  for (const ArtefactKind kind : {ArtefactKind::ball, ArtefactKind::pin, ArtefactKind::bore}) {
    const contact::Surface<double> surface = contact::surface(kind, place, 3.0, centre);
    CHECK(std::isfinite(surface.gap));
    CHECK(contact::length(surface.outward) == 0.0);
  }
}

// A single-precision number has 24 bits. On the way the coordinates reach 1 m, and each of four
// turns adds a handful of roundings of half a unit of the last place: 2^-25 m each.
TEST_CASE("single precision finds the same gap within thirty roundings of the largest coordinate") {
  const double bound_mm = 30.0 * 1000.0 * std::ldexp(1.0, -25);
  for (unsigned seed = 1; seed <= 400; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    Row<float> row;
    Row<double> rounded;
    for (int i = 0; i < numbers; ++i) {
      row[i] = static_cast<float>(c.row[i]);
      rounded[i] = static_cast<double>(row[i]);
    }
    CHECK(std::abs(static_cast<double>(gap_from(c, row)) - gap_from(c, rounded)) < bound_mm);
  }
}

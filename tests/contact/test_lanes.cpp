// Numbers side by side against numbers alone.
#include <doctest/doctest.h>

#include <cmath>

#include "contact/random_contact.h"
#include "pivotrace/contact/lanes.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

struct ThisTest {};
/// Two: what every processor can do.
using Two = contact::Lanes<2, ThisTest>;

/// The cosine and sine of a lane are handed in, as everywhere.
Two cosine_of(const Two& a) {
  double angle[2];
  a.to(angle);
  const double cosine[2] = {std::cos(angle[0]), std::cos(angle[1])};
  return Two::from(cosine);
}
Two sine_of(const Two& a) {
  double angle[2];
  a.to(angle);
  const double sine[2] = {std::sin(angle[0]), std::sin(angle[1])};
  return Two::from(sine);
}

Row<Two> side_by_side(const Row<double>& a, const Row<double>& b) {
  Row<Two> row;
  for (int i = 0; i < numbers; ++i) {
    const double pair[2] = {a[i], b[i]};
    row[i] = Two::from(pair);
  }
  return row;
}

contact::Chain<Two> lane_chain(const Row<Two>& row) {
  contact::Chain<Two> chain;
  for (int k = 0; k < 4; ++k) {
    const int first = axis_first + k * per_axis;
    chain.add(on_tool_side[k], three(row, first), three(row, first + 3), Two(sense_of[k]));
    chain.axes[k].stand_at(cosine_of(row[first + 6]), sine_of(row[first + 6]));
  }
  return chain;
}

}  // namespace

TEST_CASE("two readings side by side have the gaps they have alone, to the last bit") {
  for (unsigned seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    Case other = random_case(seed + 1000);
    other.kind = c.kind;
    other.last = c.last;
    other.flip = c.flip;
    const Row<Two> row = side_by_side(c.row, other.row);
    double gap[2];
    contact::gap_of(lane_chain(row), c.last, reading_of(c, row), c.kind, place_of(row),
                    row[stylus_radius_at])
        .to(gap);
    CHECK(gap[0] == gap_from(c, c.row));
    CHECK(gap[1] == gap_from(other, other.row));
  }
}

TEST_CASE("lanes choose each for itself") {
  const double a[2] = {-3.0, 2.0};
  const double b[2] = {1.0, -4.0};
  double out[2];
  absolute(Two::from(a)).to(out);
  CHECK(out[0] == 3.0);
  CHECK(out[1] == 2.0);
  larger_of(Two::from(a), Two::from(b)).to(out);
  CHECK(out[0] == 1.0);
  CHECK(out[1] == 2.0);
  const double c[2] = {0.0, 4.0};
  inverse_or_zero(Two::from(c)).to(out);
  CHECK(out[0] == 0.0);
  CHECK(out[1] == 0.25);
}

// What every touch goes through: with the triangles the part of the library that takes the time.
#include "embedded/station.h"
#include "pivotrace/contact/gap.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

/// Sigma of a radius that is not asked for [counts]: 100 mm.
constexpr real any_radius = real(1e7);

}  // namespace

void look_at(const Work& work, const pivotrace_touch& touch, int stride, real* row) {
  const Visit& visit = work.visit;
  const bool exact = work.gap == Gap::exact;
  const bool pin = visit.is_pin();
  Vector off = minus(difference(touch.at, work.origin), visit.shown);
  real far = real(0);
  if (pin) {
    far = dot(off, visit.pin.along) * (real(1) / pin_base);
    off = {{dot(off, visit.pin.across[0]), dot(off, visit.pin.across[1]), real(0)}};
  }
  const real squares = dot(off, off);
  real scale = real(1) / visit.radius;
  real left = real(0.5) * (squares * scale - visit.radius);
  if (exact) {
    const real distance = contact::square_root(squares);
    scale = contact::inverse_or_zero(distance);
    left = contact::gap_at(ArtefactKind::ball, distance, visit.radius, real(0));
  }
  scale *= work.weight;
  // In the algebraic gap the radius goes with |error|^2, a number of the station alone.
  *row = exact ? real(0) : work.weight * any_radius;
  real* own = row;
  row += visit.own() * stride;
  const int shifts = visit.shifts();
  for (int i = 0; i < shifts; ++i) {
    own += stride;
    *row = scale * off[i];
    *own = visit.shift_sigma * *row;
    if (pin) row[2 * stride] = far * *row;
    row += stride;
  }
  if (pin) row += 2 * stride;
  *row = exact ? work.weight : real(0);
  row[stride] = work.weight * left;
}

real reduce_touches(Work& work, const pivotrace_station& stay) {
  Visit& visit = work.visit;
  clear(visit.triangle, row_begin(station_width - 1, station_width));
  for (int r = 0; r < visit.own(); ++r) visit.triangle[row_begin(r, station_width)] = real(1);
  // With exact gaps the first row has nothing to take in.
  const int first = work.gap == Gap::exact ? 1 : 0;
  real left = real(0);
  const pivotrace_touch* touch = work.survey->touch + stay.first;
  for (int t = 0; t < stay.touches; t += touch_rows) {
    const int there = stay.touches - t < touch_rows ? stay.touches - t : touch_rows;
    if (there < touch_rows) clear(visit.columns, touch_rows * station_width);
    for (int r = 0; r < there; ++r, ++touch) look_at(work, *touch, touch_rows, visit.columns + r);
    absorb_touches(visit.triangle + station_width * first, station_width - 1 - first,
                   station_width - first, visit.columns + touch_rows * first);
    const real* rest = visit.columns + touch_rows * (station_width - 1);
    for (int r = 0; r < touch_rows; ++r) left += square(rest[r]);
  }
  return left;
}

void weigh_block(Work& work, int from, int to) {
  const Visit& visit = work.visit;
  const int coefficients = visit.coefficients();
  // A copy is not taken for something the columns might be: the compiler keeps it at hand.
  constexpr int most_weights = row_begin(block_rows, block_rows + 1);
  real weights[most_weights];
  const real* reduced = visit.triangle + row_begin(visit.own(), station_width);
  const int all = row_begin(coefficients, coefficients + 1);
  for (int i = 0; i < all; ++i) weights[i] = reduced[i];
  real* column = work.block() + block_rows * from;
  for (int c = from; c < to; ++c, column += block_rows) {
    const real* weight = weights;
    for (int r = 0; r < coefficients; ++r) {
      real sum = real(0);
      for (int j = r; j < coefficients; ++j) sum += *weight++ * column[j];
      column[r] = sum;
      ++weight;
    }
  }
}

void weigh_row(const Work& work, real factor, Row& row) {
  const real* column = work.block();
  for (int c = work.layout.width() - 1; c > 0; --c, column += block_rows) {
    row.variance -= factor * square(product(row.coefficient, column));
  }
  row.left += product(row.coefficient, column);
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

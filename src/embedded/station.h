// One station: how its touches feel a displacement of the artefact, and how that displacement depends
// on the unknowns.
//
// Each touch is a row
//   gap = [weight of a radius that is not asked for | n s | n d + radius] + error
// s the shift of the whole station, d the displacement of the artefact, n the outward normal. Taken into
// one triangle, the station's own first and known beforehand by its sigma, the rows below those are the
// touches reduced to the artefact's coefficients, white, whatever the station itself did.
#pragma once

#include "embedded/work.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Second point of a pin [counts]: 10 mm from the first.
constexpr real pin_base = real(1000000);

/// The chain with the axes as the unknowns have them, all at 0.
void set_chain(Work& work);

/// For the stations of a pass in order. Sets the chain to the angles of the station, fills `visit` and
/// writes into the block how the coefficients move with the unknowns (per unit; index unknowns per
/// sigma). Of a ball: displacement X Y Z of `visit.shown`, radius. Of a pin: displacement of its point
/// along its two `across`, by how much that a pin_base further along is displaced more, radius.
void turn_to(Work& work, const pivotrace_station& stay);

/// Row of one touch in units of the touch sigma in use, its `station_width` numbers `stride` apart.
void look_at(const Work& work, const pivotrace_touch& touch, int stride, real* row);

/// A station's touches reduce to `visit.triangle`, with the `visit.shift_sigma` set before. Returns the
/// sum of squares left.
real reduce_touches(Work& work, const pivotrace_station& stay);

/// Sigma of a station's shift as stated, each direction [counts].
real stated_shift_sigma(const Work& work);

/// Multiplies columns of the block, from one to before another, by the reduced coefficients: rows ready for the
/// triangles.
void weigh_block(Work& work, int from, int to);

/// The right-hand sides of these rows: what stands behind the reduced coefficients, one a coefficient.
inline real reduced_gap(const Visit& visit, int row) {
  const int at = visit.own() + row;
  return visit.triangle[row_begin(at + 1, station_width) - 1];
}

constexpr int most_shifts = 3;

/// A row on its way through the tests.
struct Row {
  real coefficient[block_rows];
  real left;      ///< its gap, then what is left of it
  real variance;  ///< of that
};

/// Takes off the row what the unknowns say of it, by the block solved forward: its columns are those of the
/// root of the covariance, its right-hand side what the solution expects with the sign turned. `factor`: of
/// that covariance.
void weigh_row(const Work& work, real factor, Row& row);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

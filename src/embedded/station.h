// One station: how its touches feel a displacement of the artefact, and how that displacement depends
// on the unknowns.
#pragma once

#include "embedded/work.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// The chain with the axes as the unknowns have them, all at 0.
void set_chain(Work& work);

/// For the stations of a pass in order. Sets the chain to the angles of the station, fills `visit` and writes into the block how the
/// coefficients below move with the unknowns (per unit; index unknowns per sigma):
///   row 0: the diameter's half; rows 1..: the displacement of `visit.shown`: X Y Z of a ball; of a
///   pin along its two `across` at its point, then the same a pin_base further along.
void turn_to(Work& work, const pivotrace_station& stay);

/// What the reduction of touches treats each gap as.
enum class Gap : int8_t {
  algebraic,  ///< (|a|^2 - rho^2) / 2 rho: linear however far off; the start
  exact,      ///< |a| - rho
};

/// Row of one touch, its numbers `stride` apart: coefficients (5), gap.
/// gap = row . (what the block's rows say) + error.
void look_at(const Work& work, const pivotrace_touch& touch, Gap gap, int stride, real* row);

/// A station's touches reduce to a triangle (`visit.triangle`). Returns the sum of squares left.
real reduce_touches(Work& work, const pivotrace_station& stay, Gap gap);

/// 1 / touch sigma in use [1 / counts].
real touch_weight(const Work& work);

/// Variance of a station's shift as stated, each direction [counts^2].
real station_variance(const Work& work);

/// Part of something stated by coefficients that belongs to a shift in direction i: of a pin two of
/// them, at either end.
inline real shift_of(const Visit& visit, int i, const real* by_coefficient) {
  return by_coefficient[1 + i] + (visit.is_pin() ? by_coefficient[3 + i] : real(0));
}

/// The same of row r of `visit.triangle`.
real shift_of_row(const Visit& visit, int r, int i);

/// Turns `visit.triangle` into rows without the station error, in units of the touch sigma in use. The
/// rows T have the covariance M = I + variance / touch variance T s s' T', s the shifts. With M = U U',
/// U an upper triangle (found from the last row on), U^-1 T stays an upper triangle, and its last rows
/// are those of a station without its first row. `without_first`: that is left out.
void whiten(Work& work, real variance, bool without_first);

/// Multiplies the block, from a column on, by the whitened coefficients: rows ready for the triangles.
void weigh_block(Work& work, int from);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

// How a closed form or a geometric fit ended, and what all of them have in common.
//
// The fits of this layer use no heap: points are read from a span, everything else has a fixed
// size (running sums or a running triangular factor). They never throw and never print. They work
// about the centroid and in units of the cloud's own size, so a far-off origin or another unit of
// length costs no accuracy and no threshold below carries a unit.
#pragma once

#include <limits>

namespace pivotrace {

enum class FitStatus {
  not_started = 0,
  done,
  too_few_points,    ///< fewer points than the shape needs
  not_finite,        ///< a coordinate or an angle is infinite or not a number
  degenerate,        ///< the points do not determine the shape (coincident, collinear, coplanar...)
  did_not_converge,  ///< no minimum within the allowed iterations
};

/// "done", "the points do not determine the shape", ...: for messages.
const char* describe(FitStatus status);

/// Above this condition number of the design matrix (lengths in units of the cloud's size) a shape
/// counts as not determined. It is about 1 / sqrt(epsilon): a direction held more weakly than that is held by
/// second-order terms only, and an iteration creeps along it for ever.
inline constexpr double fit_condition_limit = 1e7;

/// Round-off of every fit here on points that lie exactly on the shape:
/// |error| <= fit_round_off * condition * M, M = largest distance of a point from the origin plus
/// the size of the fitted shape. The tests hold the fits to it.
inline constexpr double fit_round_off = 32.0 * std::numeric_limits<double>::epsilon();

/// Directions, same condition: |error| in rad <= fit_round_off * condition * M / L, L = size of
/// the cloud. No constant of its own.

}  // namespace pivotrace

// Sine, cosine and small arc tangents without a mathematics library.
#pragma once

#include "embedded/build.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

struct Direction {
  real cosine;
  real sine;
};

/// Any angle [0.000001 deg]. The whole steps of 15 degrees are taken off as integers and looked up,
/// the rest (7.5 degrees at most) by its series: correct to the last digit of `real` or two.
Direction direction_of(int32_t microdegrees);

/// For |t| up to 0.25: series to t^11, error below 2e-9.
real arc_tangent(real t);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

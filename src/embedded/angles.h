// Sine, cosine and small arc tangents without a mathematics library.
#pragma once

#include "embedded/build.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

#if PIVOTRACE_DOUBLE
using circular = real;
constexpr circular one = real(1);
inline circular times(circular a, circular b) { return a * b; }
#else
/// Sines and cosines are whole numbers of 2^-30: seven bits more than float, at the price of one
/// instruction a product.
using circular = int32_t;
constexpr circular one = 1073741824;
PIVOTRACE_ONE_COPY inline circular times(circular a, circular b) {
  return static_cast<circular>((int64_t{a} * b + one / 2) >> 30);
}
#endif

struct Direction {
  circular cosine;
  circular sine;
};

/// Any angle [0.000001 deg]. The whole steps of 15 degrees are taken off as integers and looked up,
/// the rest (7.5 degrees at most) by its series: correct to the last digit or two.
Direction direction_of(int32_t microdegrees);

/// For |t| up to 0.25: series to t^11, error below 2e-9.
real arc_tangent(real t);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

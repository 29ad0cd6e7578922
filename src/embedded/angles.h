// Turns, and small arc tangents, without a mathematics library.
#pragma once

#include "embedded/build.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

#if PIVOTRACE_DOUBLE
using circular = real;
constexpr circular one = real(1);
inline circular times(circular a, circular b) { return a * b; }
inline circular wrapped_sum(circular a, circular b) { return a + b; }
inline circular circular_of(real x) { return x; }
#else
/// Sines, cosines and directions are whole numbers of 2^-30: rounded to float at every step they would displace what is
/// 70 mm off the axis by 20 nm, at every angle otherwise.
using circular = int32_t;
constexpr circular one = 1073741824;
inline namespace PIVOTRACE_FORMULAS {
PIVOTRACE_ONE_COPY inline circular times(circular a, circular b) {
  return static_cast<circular>((int64_t{a} * b) >> 30);
}
}  // namespace PIVOTRACE_FORMULAS
/// A sum of several numbers that ends within the range may leave it on the way: modulo 2^32 it comes back.
inline circular wrapped_sum(circular a, circular b) {
  return static_cast<circular>(static_cast<uint32_t>(a) + static_cast<uint32_t>(b));
}
/// |x| up to 1, the nearest below.
inline circular circular_of(real x) { return static_cast<circular>(x * real(one)); }
#endif

struct Direction {
  circular cosine;
  circular sine;
};

/// Any angle within 2000 degrees [0.000001 deg]. Whole quarter turns are taken off as integers, the
/// rest (45 degrees at most) goes by the series of both: correct to the last digit or two.
Direction direction_of(int32_t microdegrees);

/// One rotary axis as it stands.
struct Axis {
  Vector point;
  Vector direction;  ///< unit
  real sense;        ///< +1: a positive command turns right-handed; -1
  Three turn[3];     ///< rows of how the carried body has turned from its place at 0
  bool tool_side;
};

/// Sets the axis to a commanded angle [0.000001 deg].
void stand_at(Axis& axis, int32_t microdegrees);

inline namespace PIVOTRACE_FORMULAS {

/// Three numbers turned with the axis.
PIVOTRACE_ONE_COPY inline Vector turned(const Axis& axis, const real* v) {
  const Three* row = axis.turn;
  const real x = v[0];
  const real y = v[1];
  const real z = v[2];
  return Three{{row[0][0] * x + row[0][1] * y + row[0][2] * z,
                row[1][0] * x + row[1][1] * y + row[1][2] * z,
                row[2][0] * x + row[2][1] * y + row[2][2] * z}};
}

}  // namespace PIVOTRACE_FORMULAS

/// For |t| up to 0.25: series to t^11, error below 2e-9.
real arc_tangent(real t);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

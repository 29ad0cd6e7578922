#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr circular part(double of_one) {
  return static_cast<circular>(of_one * double(one) + (PIVOTRACE_DOUBLE ? 0.0 : 0.5));
}

/// The first term left out of either series is below the last digit at 45 degrees.
constexpr int terms = sizeof(real) == sizeof(float) ? 6 : 9;

/// 1 / (2 n)! of the cosine and 1 / (2 n + 1)! of the sine.
struct Series {
  circular cosine[terms];
  circular sine[terms];
};

constexpr Series series = [] {
  Series result{};
  double term = 1.0;
  for (int n = 0; n < terms; ++n) {
    if (n > 0) term /= 2.0 * n;
    result.cosine[n] = part(term);
    term /= 2.0 * n + 1.0;
    result.sine[n] = part(term);
  }
  return result;
}();

/// An angle as quarter turns and the rest of 45 degrees at most [rad].
struct Turned {
  uint32_t quarters;
  circular rest;
};

#if PIVOTRACE_DOUBLE
Turned turned_by(int32_t microdegrees) {
  constexpr int32_t quarter = 90000000;
  Turned at = {0, 0};
  for (; microdegrees > quarter / 2; microdegrees -= quarter) ++at.quarters;
  for (; microdegrees < -quarter / 2; microdegrees += quarter) --at.quarters;
  at.rest = real(microdegrees) * real(1.7453292519943296e-8);
  return at;
}
#else
// In 2^-32 turns whole turns fall away by themselves. A millionth of a degree is 12 of them less 0.0695.
inline Turned turned_by(int32_t microdegrees) {
  constexpr int64_t less = 1194607167;  // (12 - 2^32 / 360e6) 2^34
  // Rounded, so that quarter turns are exact.
  const auto off = static_cast<uint32_t>((microdegrees * less + 0x200000000) >> 34);
  const uint32_t phase = 12U * static_cast<uint32_t>(microdegrees) - off;
  const uint32_t quarters = (phase + 0x20000000U) >> 30U;
  const uint32_t rest = phase - (quarters << 30U);
  return {quarters, times(static_cast<circular>(rest), part(1.5707963267948966))};
}
#endif

}  // namespace

Direction direction_of(int32_t microdegrees) {
  const Turned angle = turned_by(microdegrees);
  const circular squared = times(angle.rest, angle.rest);
  Direction at = {0, 0};
  for (int n = terms - 1; n >= 0; --n) {
    at = {series.cosine[n] - times(squared, at.cosine), series.sine[n] - times(squared, at.sine)};
  }
  at.sine = times(at.sine, angle.rest);
  for (uint32_t left = angle.quarters & 3U; left != 0U; --left) at = {-at.sine, at.cosine};
  return at;
}

// As contact::rotation, in these numbers: u u' (1 - cos), on the diagonal + cos, and beside it -+ u sin. By
// halves, as 2 is no number of 2^-30.
void stand_at(Axis& axis, int32_t microdegrees) {
  const Direction angle = direction_of(axis.sense < real(0) ? -microdegrees : microdegrees);
  circular u[3];
  for (int i = 0; i < 3; ++i) u[i] = circular_of(axis.direction[i]);
#if !PIVOTRACE_DOUBLE
  // Of length 1 to the last digit: a step of Newton's iteration.
  int64_t squares = 0;
  for (int i = 0; i < 3; ++i) squares += int64_t{u[i]} * u[i];
  const auto short_by = static_cast<circular>((int64_t{one} * one - squares) >> 31);
  for (int i = 0; i < 3; ++i) u[i] += times(u[i], short_by);
#endif
  for (int i = 0; i < 3; ++i) {
    const circular half = u[i] / 2 - times(u[i], angle.cosine) / 2;
    for (int j = 0; j < 3; ++j) {
      const bool next = j - i == 1 || j - i == -2;
      const circular beside =
          i == j ? angle.cosine : times(u[3 - i - j], next ? -angle.sine : angle.sine);
      const circular straight = times(half, u[j]);
      const circular number = wrapped_sum(wrapped_sum(straight, straight), beside);
      axis.turn[i][j] = real(number) * (real(1) / real(one));
    }
  }
}

real arc_tangent(real t) {
  const real z = t * t;
  real sum = real(0);
  for (int n = 11; n >= 1; n -= 2) sum = real(1) / real(n) - z * sum;
  return t * sum;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

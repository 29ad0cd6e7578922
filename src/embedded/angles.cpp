#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int32_t half_step = 15000000;

constexpr circular part(double of_one) {
  return static_cast<circular>(of_one * double(one) + (PIVOTRACE_DOUBLE ? 0.0 : 0.5));
}

constexpr circular root_of_three_quarters = part(0.86602540378443865);

/// The first term left out is below the last digit at 15 degrees.
constexpr int terms = sizeof(real) == sizeof(float) ? 7 : 12;

/// A small angle in radians.
circular radians(int32_t microdegrees) {
#if PIVOTRACE_DOUBLE
  return real(microdegrees) * real(1.7453292519943296e-8);
#else
  // pi / 180e6 2^30 2^24
  return static_cast<circular>((int64_t{microdegrees} * 314410567 + 8388608) >> 24);
#endif
}

}  // namespace

// z exp(i f) = z + i f/1 (z + i f/2 (z + i f/3 (...))), from the inside out, with f what is left of the angle
// beside quarter turns and beside z, a step of 30 degrees either way or none.
Direction direction_of(int32_t microdegrees) {
  uint32_t quarters = 0;
  for (; microdegrees > 3 * half_step; microdegrees -= 6 * half_step) ++quarters;
  for (; microdegrees < -3 * half_step; microdegrees += 6 * half_step) --quarters;
  Direction from = {one, 0};
  if (microdegrees > half_step) {
    from = {root_of_three_quarters, one / 2};
    microdegrees -= 2 * half_step;
  } else if (microdegrees < -half_step) {
    from = {root_of_three_quarters, -one / 2};
    microdegrees += 2 * half_step;
  }
  const circular f = radians(microdegrees);
  Direction at = from;
  for (int n = terms; n > 0; --n) {
    const circular part = times(f, circular_of(real(1) / real(n)));
    at = {from.cosine - times(part, at.sine), from.sine + times(part, at.cosine)};
  }
  for (; (quarters & 3U) != 0U; --quarters) at = {-at.sine, at.cosine};
  return at;
}

// contact::rotation in these numbers: straight + (1 - straight) cos on the diagonal, and beside it
// straight - straight cos -+ u sin, straight = u u'.
void stand_at(contact::Axis<real>& axis, int32_t microdegrees) {
  const Direction angle = direction_of(microdegrees);
  const circular sine = axis.sense < real(0) ? -angle.sine : angle.sine;
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
    for (int j = 0; j < 3; ++j) {
      const circular straight = times(u[i], u[j]);
      circular number = wrapped_sum(straight, -times(straight, angle.cosine));
      if (i == j) {
        number = wrapped_sum(number, angle.cosine);
      } else {
        const circular across = times(u[3 - i - j], sine);
        const bool next = j - i == 1 || j - i == -2;
        number = wrapped_sum(number, next ? -across : across);
      }
      axis.body_turn.row[i][j] = real(number) * (real(1) / real(one));
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

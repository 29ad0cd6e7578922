#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int32_t turn = 360000000;
constexpr int32_t step = 15000000;
constexpr int steps_a_turn = 24;
constexpr int quarter = steps_a_turn / 4;
constexpr int half = steps_a_turn / 2;

constexpr circular part(double of_one) {
  return static_cast<circular>(of_one * double(one) + (PIVOTRACE_DOUBLE ? 0.0 : 0.5));
}

/// Sines of 0, 15, ... 90 degrees.
constexpr circular sines[quarter + 1] = {part(0.0),
                                         part(0.25881904510252076),
                                         part(0.5),
                                         part(0.70710678118654752),
                                         part(0.86602540378443865),
                                         part(0.96592582628906829),
                                         part(1.0)};

/// An angle below a step in radians.
circular radians(int32_t microdegrees) {
#if PIVOTRACE_DOUBLE
  return real(microdegrees) * real(1.7453292519943296e-8);
#else
  // pi / 180e6 2^30 2^24
  return static_cast<circular>((int64_t{microdegrees} * 314410567 + 8388608) >> 24);
#endif
}

/// `steps` from 0 to below one and a quarter turn.
circular sine_of_steps(int steps) {
  if (steps >= steps_a_turn) steps -= steps_a_turn;
  const bool below = steps >= half;
  if (below) steps -= half;
  if (steps > quarter) steps = half - steps;
  return below ? -sines[steps] : sines[steps];
}

}  // namespace

// sin(k + f) = S + (C s - S h), cos(k + f) = C - (S s + C h) with S, C of the whole steps, s = sin f,
// h = 1 - cos f: the small parts are added last, so their rounding does not show.
Direction direction_of(int32_t microdegrees) {
  int32_t within = microdegrees % turn;
  if (within < 0) within += turn;
  const int32_t steps = (within + step / 2) / step;
  const circular f = radians(within - steps * step);
  const circular z = times(f, f);
  circular sine = one - z / 42;
  circular versine = one - z / 30;
  if constexpr (PIVOTRACE_DOUBLE != 0) {
    sine = one - times(z / 42, one - times(z / 72, one - z / 110));
    versine = one - times(z / 30, one - times(z / 56, one - z / 90));
  }
  sine = times(f, one - times(z / 6, one - times(z / 20, sine)));
  versine = times(z / 2, one - times(z / 12, versine));
  const circular whole_sine = sine_of_steps(static_cast<int>(steps));
  const circular whole_cosine = sine_of_steps(static_cast<int>(steps) + quarter);
  return {whole_cosine - (times(whole_sine, sine) + times(whole_cosine, versine)),
          whole_sine + (times(whole_cosine, sine) - times(whole_sine, versine))};
}

real arc_tangent(real t) {
  const real z = t * t;
  real sum = real(1) / real(11);
  for (int n = 9; n >= 1; n -= 2) sum = real(1) / real(n) - z * sum;
  return t * sum;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

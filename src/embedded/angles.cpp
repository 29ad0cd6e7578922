#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int32_t turn = 360000000;
constexpr int32_t step = 15000000;
constexpr int steps_a_turn = 24;
constexpr int quarter = steps_a_turn / 4;
constexpr int half = steps_a_turn / 2;

/// Sines of 0, 15, ... 90 degrees.
constexpr real sines[quarter + 1] = {real(0.0),
                                     real(0.25881904510252076),
                                     real(0.5),
                                     real(0.70710678118654752),
                                     real(0.86602540378443865),
                                     real(0.96592582628906829),
                                     real(1.0)};

/// `steps` from 0 to below one and a quarter turn.
real sine_of_steps(int steps) {
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
  const real f = real(within - steps * step) * real(1.7453292519943296e-8);
  const real z = f * f;
  real sine = real(1) - z * (real(1) / real(42));
  real versine = real(1) - z * (real(1) / real(30));
  if constexpr (sizeof(real) == sizeof(double)) {
    sine = real(1) - z / real(42) * (real(1) - z / real(72) * (real(1) - z / real(110)));
    versine = real(1) - z / real(30) * (real(1) - z / real(56) * (real(1) - z / real(90)));
  }
  sine = f * (real(1) - z * (real(1) / real(6)) * (real(1) - z * (real(1) / real(20)) * sine));
  versine = z * real(0.5) * (real(1) - z * (real(1) / real(12)) * versine);
  const real whole_sine = sine_of_steps(static_cast<int>(steps));
  const real whole_cosine = sine_of_steps(static_cast<int>(steps) + quarter);
  return {whole_cosine - (whole_sine * sine + whole_cosine * versine),
          whole_sine + (whole_cosine * sine - whole_sine * versine)};
}

real arc_tangent(real t) {
  const real z = t * t;
  real sum = real(1) / real(11);
  for (int n = 9; n >= 1; n -= 2) sum = real(1) / real(n) - z * sum;
  return t * sum;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

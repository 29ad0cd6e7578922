// The square root for processors that have none: without errno and without a mathematics library.
// The compiler calls these names; a program that brings its own (newlib) keeps its own.
#include <cstdint>

#include "pivotrace/embedded/core.h"

#if !PIVOTRACE_DOUBLE && defined(__arm__) && (!defined(__ARM_FP) || (__ARM_FP & 4) == 0)

// Digit by digit on the significand, rounded to nearest; 0 and what is no positive number come back
// as they are (the library never asks for more).
extern "C" __attribute__((weak)) float sqrtf(float x) {
  uint32_t bits;
  __builtin_memcpy(&bits, &x, sizeof(bits));
  const uint32_t exponent = bits >> 23U;
  if (exponent == 0U || exponent >= 255U) return exponent == 0U ? 0.0F : x;
  uint32_t rest = (bits & 0x7FFFFFU) | 0x800000U;
  if ((exponent & 1U) == 0U) rest <<= 1U;
  uint32_t root = 0U;
  uint32_t tried = 0U;
  rest <<= 1U;
  for (uint32_t digit = 0x1000000U; digit != 0U; digit >>= 1U) {
    const uint32_t with = tried + digit;
    if (with <= rest) {
      tried = with + digit;
      rest -= with;
      root += digit;
    }
    rest <<= 1U;
  }
  root += root & 1U;
  const uint32_t result = (root >> 1U) + ((((exponent + 127U) >> 1U) - 1U) << 23U);
  float value;
  __builtin_memcpy(&value, &result, sizeof(value));
  return value;
}

#endif

#if PIVOTRACE_DOUBLE && defined(__arm__) && (!defined(__ARM_FP) || (__ARM_FP & 8) == 0)

// Newton's iteration on the reciprocal from a linear guess, then one step on the root itself.
extern "C" __attribute__((weak)) double sqrt(double x) {
  uint64_t bits;
  __builtin_memcpy(&bits, &x, sizeof(bits));
  const auto exponent = static_cast<uint32_t>(bits >> 52U);
  if (exponent == 0U || exponent >= 2047U) return exponent == 0U ? 0.0 : x;
  const uint64_t guess = 0x5FE6EB50C7B537A9ULL - (bits >> 1U);
  double inverse;
  __builtin_memcpy(&inverse, &guess, sizeof(inverse));
  for (int i = 0; i < 4; ++i) inverse *= 1.5 - 0.5 * x * inverse * inverse;
  const double root = x * inverse;
  return root + 0.5 * inverse * (x - root * root);
}

#endif

// Arithmetic of float in whole numbers, for processors without a floating-point unit: the bits IEEE 754
// prescribes (round to nearest, ties to even, subnormal numbers, infinities, one NaN), in fewer bytes than
// the compiler's own functions. On the host it is there to be tested.
#pragma once

#include <cstdint>

namespace pivotrace::soft_float {

constexpr uint32_t sign_bit = 0x80000000U;
constexpr uint32_t infinity = 0x7F800000U;
constexpr uint32_t not_a_number = 0x7FC00000U;
constexpr uint32_t leading_bit = 0x800000U;

/// The number significand 2^(exponent - 158), the highest bit of the significand being set, rounded. A last
/// bit set stands for all that is behind it.
[[gnu::noinline]] inline uint32_t rounded(uint32_t sign, int32_t exponent, uint32_t significand) {
  if (exponent >= 255) return sign | infinity;
  if (exponent <= 0) {
    const int32_t shift = 1 - exponent;
    if (shift > 31) return sign;
    const uint32_t lost = significand & ((1U << static_cast<uint32_t>(shift)) - 1U);
    significand = (significand >> static_cast<uint32_t>(shift)) | (lost != 0U ? 1U : 0U);
    exponent = 1;
  }
  const uint32_t kept = significand >> 8U;
  const uint32_t up = ((significand & 255U) + (kept & 1U) + 127U) >> 8U;
  return sign | ((static_cast<uint32_t>(exponent - 1) << 23U) + kept + up);
}

inline uint32_t of_whole(int32_t whole) {
  if (whole == 0) return 0U;
  const uint32_t sign = static_cast<uint32_t>(whole) & sign_bit;
  const uint32_t size =
      sign != 0U ? 0U - static_cast<uint32_t>(whole) : static_cast<uint32_t>(whole);
  const int zeros = __builtin_clz(size);
  return rounded(sign, 158 - zeros, size << static_cast<uint32_t>(zeros));
}

/// A finite number that is not 0: the highest bit of the significand is `leading_bit`.
struct Parts {
  int32_t exponent;
  uint32_t significand;
};

[[gnu::noinline]] inline Parts parts_of(uint32_t size) {
  Parts parts = {static_cast<int32_t>(size >> 23U), size & (leading_bit - 1U)};
  if (parts.exponent != 0) {
    parts.significand |= leading_bit;
    return parts;
  }
  for (parts.exponent = 1; (parts.significand & leading_bit) == 0U; --parts.exponent) {
    parts.significand <<= 1U;
  }
  return parts;
}

/// a / b, digit by digit.
inline uint32_t quotient(uint32_t a, uint32_t b) {
  const uint32_t sign = (a ^ b) & sign_bit;
  a &= ~sign_bit;
  b &= ~sign_bit;
  if (a > infinity || b > infinity) return not_a_number;
  if (a == b && (a == infinity || a == 0U)) return not_a_number;
  if (a == infinity || b == 0U) return sign | infinity;
  if (b == infinity || a == 0U) return sign;
  Parts over = parts_of(a);
  const Parts under = parts_of(b);
  int32_t exponent = over.exponent - under.exponent + 127;
  if (over.significand < under.significand) {
    over.significand <<= 1U;
    --exponent;
  }
  uint32_t digits = 0U;
  while ((digits & 0x2000000U) == 0U) {
    digits <<= 1U;
    if (over.significand >= under.significand) {
      over.significand -= under.significand;
      digits |= 1U;
    }
    over.significand <<= 1U;
  }
  return rounded(sign, exponent, digits << 6U | (over.significand != 0U ? 1U : 0U));
}

constexpr int32_t unordered = 2;

/// -1, 0, 1 as a is less than, equal to, greater than b; 2 when one is no number.
inline int32_t order(uint32_t a, uint32_t b) {
  if ((a << 1U) > infinity << 1U || (b << 1U) > infinity << 1U) return unordered;
  // As whole numbers negative ones run the other way, and -0 is 0.
  const auto ordered = [](uint32_t bits) {
    return static_cast<int32_t>((bits & sign_bit) != 0U ? sign_bit - bits : bits);
  };
  const int32_t left = ordered(a);
  const int32_t right = ordered(b);
  return (left > right ? 1 : 0) - (left < right ? 1 : 0);
}

}  // namespace pivotrace::soft_float

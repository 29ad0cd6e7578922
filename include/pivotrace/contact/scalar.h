// What the formulas of this room ask of a scalar beyond + - * and /.
//
// A scalar is double, float, several trials side by side, a dual number, or a symbol that writes the
// formula down instead of working it out. A type of one's own brings overloads of these functions in
// its own namespace; argument-dependent lookup finds them. Nothing here needs the heap, exceptions
// or any function of the mathematics library but the square root.
#pragma once

namespace pivotrace::contact {

inline double square_root(double x) { return __builtin_sqrt(x); }
inline float square_root(float x) { return __builtin_sqrtf(x); }

/// 1 / x, and 0 for x = 0: the direction of a vector without length is the vector itself.
inline double inverse_or_zero(double x) { return x == 0.0 ? 0.0 : 1.0 / x; }
inline float inverse_or_zero(float x) { return x == 0.0F ? 0.0F : 1.0F / x; }

/// A coefficient made of the components of a direction. A symbolic scalar drops the rounding dust
/// here, so that programs show 0 and 1.
template <class S>
const S& tidied(const S& coefficient) {
  return coefficient;
}

/// True when it is known, while the formula is written down, that the scalar is `number`. Never for
/// plain numbers: the short cuts that ask are compiled away.
template <class S>
constexpr bool is_known_to_be(const S&, double) {
  return false;
}

}  // namespace pivotrace::contact

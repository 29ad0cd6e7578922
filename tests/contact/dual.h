// A number with one derivative: the formulas differentiate themselves.
#pragma once

#include <cmath>

namespace pivotrace::testing {

struct Dual {
  double value = 0.0;
  double slope = 0.0;

  Dual() = default;
  Dual(double v) : value(v) {}  // NOLINT: reads as a number
  Dual(double v, double s) : value(v), slope(s) {}
};

inline Dual operator+(Dual a, Dual b) { return {a.value + b.value, a.slope + b.slope}; }
inline Dual operator-(Dual a, Dual b) { return {a.value - b.value, a.slope - b.slope}; }
inline Dual operator-(Dual a) { return {-a.value, -a.slope}; }
inline Dual operator*(Dual a, Dual b) {
  return {a.value * b.value, a.slope * b.value + a.value * b.slope};
}
inline Dual square_root(Dual a) {
  const double root = std::sqrt(a.value);
  return {root, 0.5 * a.slope / root};
}
inline Dual inverse_or_zero(Dual a) {
  return a.value == 0.0 ? Dual() : Dual(1.0 / a.value, -a.slope / (a.value * a.value));
}
inline Dual cosine_of(Dual a) { return {std::cos(a.value), -std::sin(a.value) * a.slope}; }
inline Dual sine_of(Dual a) { return {std::sin(a.value), std::cos(a.value) * a.slope}; }

}  // namespace pivotrace::testing

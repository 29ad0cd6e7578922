// Several numbers side by side that go through one formula together, in the vector registers of the
// processor. Every lane is worked out exactly as a number alone would be (compile without fusing
// products and sums: -ffp-contract=off), so results do not depend on how many there are.
//
// `Build` is a type of the translation unit's own: what is compiled for one processor must never be
// taken by the linker for the same thing compiled for another.
#pragma once

#include "pivotrace/contact/scalar.h"

namespace pivotrace::contact {

/// N numbers of type T as the compiler knows them. T is a parameter because the attribute is lost on a
/// type that does not depend on one.
template <class T, int N>
struct Register {
  typedef T Type __attribute__((vector_size(N * sizeof(T))));  // NOLINT: an alias cannot carry it
};

template <int N, class Build>
struct Lanes {
  using Numbers = typename Register<double, N>::Type;
  static constexpr int count = N;

  Numbers at;

  Lanes() : at{} {}
  Lanes(double x) : at(x - Numbers{}) {}  // NOLINT: reads as a number
  explicit Lanes(Numbers numbers) : at(numbers) {}

  static Lanes from(const double* numbers) {
    Lanes lanes;
    __builtin_memcpy(&lanes.at, numbers, sizeof lanes.at);
    return lanes;
  }
  void to(double* numbers) const { __builtin_memcpy(numbers, &at, sizeof at); }

  friend Lanes operator+(const Lanes& a, const Lanes& b) { return Lanes(a.at + b.at); }
  friend Lanes operator-(const Lanes& a, const Lanes& b) { return Lanes(a.at - b.at); }
  friend Lanes operator*(const Lanes& a, const Lanes& b) { return Lanes(a.at * b.at); }
  friend Lanes operator/(const Lanes& a, const Lanes& b) { return Lanes(a.at / b.at); }
  friend Lanes operator-(const Lanes& a) { return Lanes(-a.at); }

  friend Lanes square_root(const Lanes& a) {
    Lanes result;
    for (int i = 0; i < N; ++i) result.at[i] = __builtin_sqrt(a.at[i]);
    return result;
  }
  friend Lanes inverse_or_zero(const Lanes& a) {
    return Lanes(a.at == Numbers{} ? Numbers{} : 1.0 / a.at);
  }
  friend Lanes absolute(const Lanes& a) { return Lanes(a.at < Numbers{} ? -a.at : a.at); }
  friend Lanes larger_of(const Lanes& a, const Lanes& b) {
    return Lanes(a.at > b.at ? a.at : b.at);
  }
};

}  // namespace pivotrace::contact

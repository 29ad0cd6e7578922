// Vectors of three and matrices of three by three, of any scalar: plain aggregates, three (nine)
// scalars in a row in memory, so that other libraries can look at them in place.
#pragma once

#include "pivotrace/contact/scalar.h"

namespace pivotrace::contact {

template <class S>
struct Vec3 {
  S at[3] = {};

  constexpr S& operator[](int i) { return at[i]; }
  constexpr const S& operator[](int i) const { return at[i]; }
};

template <class S>
constexpr Vec3<S> operator+(const Vec3<S>& a, const Vec3<S>& b) {
  return {{a[0] + b[0], a[1] + b[1], a[2] + b[2]}};
}

template <class S>
constexpr Vec3<S> operator-(const Vec3<S>& a, const Vec3<S>& b) {
  return {{a[0] - b[0], a[1] - b[1], a[2] - b[2]}};
}

template <class S>
constexpr Vec3<S> operator-(const Vec3<S>& a) {
  return {{-a[0], -a[1], -a[2]}};
}

template <class S>
constexpr Vec3<S> operator*(const S& factor, const Vec3<S>& v) {
  return {{factor * v[0], factor * v[1], factor * v[2]}};
}

template <class S>
constexpr S dot(const Vec3<S>& a, const Vec3<S>& b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

template <class S>
constexpr Vec3<S> cross(const Vec3<S>& a, const Vec3<S>& b) {
  return {{a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]}};
}

template <class S>
S length(const Vec3<S>& v) {
  return square_root(dot(v, v));
}

/// What is left of `v` when its part along the unit vector `direction` is taken away.
template <class S>
constexpr Vec3<S> square_to(const Vec3<S>& v, const Vec3<S>& direction) {
  return v - dot(direction, v) * direction;
}

template <class S>
struct Mat3 {
  Vec3<S> row[3] = {};
};

template <class S>
constexpr Mat3<S> identity() {
  return {{{{S(1), S(0), S(0)}}, {{S(0), S(1), S(0)}}, {{S(0), S(0), S(1)}}}};
}

template <class S>
constexpr Vec3<S> operator*(const Mat3<S>& m, const Vec3<S>& v) {
  return {{dot(m.row[0], v), dot(m.row[1], v), dot(m.row[2], v)}};
}

template <class S>
constexpr Mat3<S> transposed(const Mat3<S>& m) {
  return {{{{m.row[0][0], m.row[1][0], m.row[2][0]}},
           {{m.row[0][1], m.row[1][1], m.row[2][1]}},
           {{m.row[0][2], m.row[1][2], m.row[2][2]}}}};
}

/// m' v without writing m' down.
template <class S>
constexpr Vec3<S> transposed_times(const Mat3<S>& m, const Vec3<S>& v) {
  return transposed(m) * v;
}

template <class S>
constexpr Mat3<S> operator*(const Mat3<S>& a, const Mat3<S>& b) {
  const Mat3<S> columns = transposed(b);
  return {{columns * a.row[0], columns * a.row[1], columns * a.row[2]}};
}

}  // namespace pivotrace::contact

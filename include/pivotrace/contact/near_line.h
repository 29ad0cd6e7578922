// A nearly known line held as four numbers: two shifts and two tilts about a nominal line.
//   point     = nominal point + shift_first e1 + shift_second e2
//   direction = (n + tilt_first e1 + tilt_second e2) / |...|
// so tilt_first = tan of the lean towards e1. Good for leans below about 45 deg, and the derivatives
// at small leans are plain: that is why it is used instead of a manifold.
#pragma once

#include "pivotrace/contact/vector.h"

namespace pivotrace::contact {

/// The nominal line and two unit vectors across it, right-handed (first, second, direction).
template <class S>
struct NearLine {
  Vec3<S> point;
  Vec3<S> direction;
  Vec3<S> first;
  Vec3<S> second;
};

template <class S>
constexpr Vec3<S> shifted_point(const NearLine<S>& line, const S& first, const S& second) {
  return line.point + first * line.first + second * line.second;
}

/// A direction and how long it was before it was made a unit vector.
template <class S>
struct Lean {
  Vec3<S> direction;
  S per_length = S(1);  ///< 1 / |...|
};

template <class S>
Lean<S> tilted_direction(const NearLine<S>& line, const S& first, const S& second) {
  const Vec3<S> leaning = line.direction + first * line.first + second * line.second;
  const S per_length = inverse_or_zero(length(leaning));
  return {per_length * leaning, per_length};
}

/// Derivative of the direction by the tilt towards `across` (one of first, second).
template <class S>
constexpr Vec3<S> by_tilt(const Lean<S>& lean, const Vec3<S>& across) {
  return lean.per_length * square_to(across, lean.direction);
}

}  // namespace pivotrace::contact

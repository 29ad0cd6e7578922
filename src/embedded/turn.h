// The turn of an axis, to more digits than float has.
#pragma once

#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

#if PIVOTRACE_DOUBLE

struct FineTurn {};

inline void stand_at(contact::Axis<real>& axis, FineTurn&, int32_t microdegrees) {
  const Direction angle = direction_of(microdegrees);
  axis.stand_at(angle.cosine, angle.sine);
}
inline Vector turned_finely(const contact::Axis<real>& axis, const FineTurn&, const Vector& v) {
  return turned(axis.body_turn, v);
}

#else

/// The matrix of the turn in units of 2^-30. Rounded to float it would displace what is 70 mm off the
/// axis by 4 nm, at every angle otherwise.
struct FineTurn {
  int32_t number[9];
};

/// Sets the axis to a commanded angle [0.000001 deg].
void stand_at(contact::Axis<real>& axis, FineTurn& fine, int32_t microdegrees);

/// A vector seen from the line of the axis, turned.
Vector turned_finely(const contact::Axis<real>& axis, const FineTurn& fine, const Vector& v);

#endif

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

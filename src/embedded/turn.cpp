#include "embedded/turn.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

#if !PIVOTRACE_DOUBLE

namespace {

constexpr real unit_of_one = real(1) / real(one);

/// Toward zero; 0 for what is no whole number of 32 bits with room.
int32_t whole_of(real x) { return magnitude(x) < real(1.08e9) ? static_cast<int32_t>(x) : 0; }

/// A unit vector in units of 2^-30, of length 1 to the last digit (a step of Newton's iteration).
void unit_of(const Vector& direction, int32_t* u) {
  int64_t squares = 0;
  for (int i = 0; i < 3; ++i) {
    u[i] = whole_of(direction[i] * real(one));
    squares += int64_t{u[i]} * u[i];
  }
  const auto short_by = static_cast<int32_t>((int64_t{one} * one - squares) / (2 * int64_t{one}));
  for (int i = 0; i < 3; ++i) u[i] += times(u[i], short_by);
}

PIVOTRACE_ONE_COPY void set_number(contact::Axis<real>& axis, FineTurn& fine, int i, int j,
                                   int32_t number) {
  fine.number[3 * i + j] = number;
  axis.body_turn.row[i][j] = real(number) * unit_of_one;
}

}  // namespace

// contact::rotation in whole numbers: straight + (1 - straight) cos on the diagonal, and beside it
// straight - straight cos -+ u sin, straight = u u'.
void stand_at(contact::Axis<real>& axis, FineTurn& fine, int32_t microdegrees) {
  const Direction angle = direction_of(microdegrees);
  const int32_t sine = axis.sense < real(0) ? -angle.sine : angle.sine;
  int32_t u[3];
  unit_of(axis.direction, u);
  for (int i = 0; i < 3; ++i) {
    const int j = i == 2 ? 0 : i + 1;
    const int k = 3 - i - j;
    const int32_t straight = times(u[i], u[j]);
    const int32_t beside = straight - times(straight, angle.cosine);
    const int32_t on_axis = times(u[i], u[i]);
    const int32_t across = times(u[k], sine);
    set_number(axis, fine, i, i, on_axis + times(one - on_axis, angle.cosine));
    set_number(axis, fine, i, j, beside - across);
    set_number(axis, fine, j, i, beside + across);
  }
}

Vector turned_finely(const contact::Axis<real>& axis, const FineTurn& fine, const Vector& v) {
  int32_t whole[3];
  Vector rest;
  for (int i = 0; i < 3; ++i) {
    whole[i] = whole_of(v[i]);
    rest[i] = v[i] - real(whole[i]);
  }
  Vector result;
  const int32_t* number = fine.number;
  for (int i = 0; i < 3; ++i) {
    int64_t sum = 0;
    real part = real(0);
    for (int j = 0; j < 3; ++j, ++number) {
      sum += int64_t{*number} * whole[j];
      part += axis.body_turn.row[i][j] * rest[j];
    }
    const int64_t high = sum >> 30;
    part += real(static_cast<int32_t>(sum - high * one)) * unit_of_one;
    result[i] = part + real(static_cast<int32_t>(high));
  }
  return result;
}

#endif

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

// The program's own arithmetic as a scalar of the contact formulas: they write themselves down.
#pragma once

#include "control/step_recorder.h"
#include "pivotrace/contact/vector.h"
#include "pivotrace/control/value.h"

namespace pivotrace {

inline Value tidied(const Value& coefficient) {
  return coefficient.number() != nullptr ? Value(tidy(*coefficient.number())) : coefficient;
}

inline bool is_known_to_be(const Value& value, double number) { return value.is_number(number); }

/// The program's own division refuses 0, and no program comes there: its directions have a length.
inline Value inverse_or_zero(const Value& x) { return Value(1.0) / x; }

inline contact::Vec3<Value> vec3(const Value3& v) { return {{v[0], v[1], v[2]}}; }
inline contact::Vec3<Value> vec3(const Eigen::Vector3d& v) { return {{v[0], v[1], v[2]}}; }
inline Value3 value3(const contact::Vec3<Value>& v) { return {v[0], v[1], v[2]}; }

}  // namespace pivotrace

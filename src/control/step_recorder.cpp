#include "control/step_recorder.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

namespace pivotrace {

Value3 values(const Vec& vec) { return {Value(vec[0]), Value(vec[1]), Value(vec[2])}; }
Value3 lengths(const Eigen::Vector3d& v_mm) {
  return {length(v_mm.x()), length(v_mm.y()), length(v_mm.z())};
}
Value3 plus(const Value3& a, const Value3& b) { return {a[0] + b[0], a[1] + b[1], a[2] + b[2]}; }
Value3 minus(const Value3& a, const Value3& b) { return {a[0] - b[0], a[1] - b[1], a[2] - b[2]}; }
Value3 times(const Value& factor, const Value3& v) {
  return {factor * v[0], factor * v[1], factor * v[2]};
}
Value dot(const Value3& a, const Value3& b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

Value dot(const Eigen::Vector3d& factors, const Value3& v) {
  return dot(Value3{Value(tidy(factors[0])), Value(tidy(factors[1])), Value(tidy(factors[2]))}, v);
}

double tidy(double value) {
  const double nearest = std::round(value);
  return std::abs(value - nearest) < 1e-12 ? nearest : value;
}

void StepRecorder::introduce(const std::string& name, int size) {
  const auto known = std::find_if(program_.variables.begin(), program_.variables.end(),
                                  [&](const ProgramVariable& v) { return v.name == name; });
  if (known == program_.variables.end()) {
    program_.variables.push_back({name, size});
  } else if (known->size != size) {
    throw std::logic_error("\"" + name + "\" has " + std::to_string(known->size) +
                           " elements and is asked for with " + std::to_string(size));
  }
}

Variable StepRecorder::variable(const std::string& name) {
  introduce(name, 0);
  return Variable{name};
}

Vec StepRecorder::vec(const std::string& name) {
  return {variable(name + " X"), variable(name + " Y"), variable(name + " Z")};
}

Table StepRecorder::table(const std::string& name, int size) {
  introduce(name, size);
  return Table{name, size};
}

void StepRecorder::set(const Variable& target, const Value& value, const std::string& note) {
  const auto* same = std::get_if<VariableNode>(&value.node());
  if (same != nullptr && same->name == target.name) return;
  add(AssignStep{target, value, note});
}

void StepRecorder::set(const Vec& target, const Value3& value) {
  for (int i = 0; i < 3; ++i) set(target[i], value[i]);
}

void StepRecorder::set_element(const Table& target, const Value& index, const Value& value,
                               const std::string& note) {
  const Value place = element(target, index);
  add(AssignStep{std::get<ElementNode>(place.node()), value, note});
}

Variable StepRecorder::parameter(const std::string& name, const Value& value,
                                 const std::string& note) {
  Variable made = variable(name);
  set(made, value, note);
  return made;
}

}  // namespace pivotrace

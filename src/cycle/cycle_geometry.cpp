#include "cycle/cycle_geometry.h"

#include <fmt/format.h>

#include <cmath>

namespace pivotrace {

namespace {

constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};

bool along(const Eigen::Vector3d& direction, int axis) {
  return std::abs(direction[axis]) > 1.0 - 1e-12;
}

bool all_known(const Value3& v) {
  return v[0].number() != nullptr && v[1].number() != nullptr && v[2].number() != nullptr;
}

}  // namespace

CycleGeometry::CycleGeometry(const Machine& machine, const MachineState& state,
                             StepRecorder& recorder)
    : machine_(machine),
      state_(state),
      recorder_(recorder),
      angle_(machine.rotary.size()),
      cosine_(machine.rotary.size(), Value(1.0)),
      sine_(machine.rotary.size()),
      inner_arm_(machine.rotary.size()) {}

void CycleGeometry::write_axis_parameters() {
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const RotaryAxis& axis = machine_.rotary[i];
    const Line& line = state_.axis_lines[i];
    const std::string from = axis.side == AxisSide::tool ? " from shown position" : "";
    Value3 centre = lengths(line.point_mm);
    for (int k = 0; k < 3; ++k) {
      if (along(line.direction, k)) continue;
      centre[k] = recorder_.parameter(
          fmt::format("centre of {} {}", axis.letter, linear_letters[k]), length(line.point_mm[k]),
          fmt::format("axis {}, nominal {}{}", axis.letter, linear_letters[k], from));
    }
    centre_.push_back(centre);
  }
}

void CycleGeometry::set_angles(const std::vector<Value>& degrees, const Value& stylus_diameter) {
  stylus_diameter_ = stylus_diameter;
  for (std::size_t i = 0; i < degrees.size(); ++i) {
    if (degrees[i].number() != nullptr) {
      angle_[i] = degrees[i];
      cosine_[i] = cosine(degrees[i]);
      sine_[i] = sine(degrees[i]);
      continue;
    }
    const char letter = machine_.rotary[i].letter;
    angle_[i] = recorder_.variable(fmt::format("angle of {}", letter));
    cosine_[i] = recorder_.variable(fmt::format("cosine {}", letter));
    sine_[i] = recorder_.variable(fmt::format("sine {}", letter));
    recorder_.set(Variable{fmt::format("angle of {}", letter)}, degrees[i],
                  fmt::format("angle of {} at this station", letter));
    recorder_.set(Variable{fmt::format("cosine {}", letter)}, cosine(angle_[i]));
    recorder_.set(Variable{fmt::format("sine {}", letter)}, sine(angle_[i]));
  }
  work_out_arm();
}

Value CycleGeometry::turn_sine(int axis) const {
  return Value(turn_sign(state_.turns[axis])) * sine_[axis];
}

Value3 CycleGeometry::turned(const Value3& v, int axis, bool back) const {
  const Eigen::Vector3d& u = state_.axis_lines[axis].direction;
  Eigen::Matrix3d cross;
  cross << 0, -u.z(), u.y(), u.z(), 0, -u.x(), -u.y(), u.x(), 0;
  const double sense = back ? -1.0 : 1.0;
  Value3 result;
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) {
      const double straight = tidy(u[i] * u[j]);
      const Value factor =
          Value(straight) + Value(tidy((i == j ? 1.0 : 0.0) - straight)) * cosine_[axis] +
          Value(tidy(sense * turn_sign(state_.turns[axis]) * cross(i, j))) * sine_[axis];
      result[i] = result[i] + factor * v[j];
    }
  }
  return result;
}

Value3 CycleGeometry::turned_about(const Value3& p, int axis, bool back) {
  if (cosine_[axis].is_number(1.0)) return p;
  const Eigen::Vector3d& u = state_.axis_lines[axis].direction;
  const Vec spoke = recorder_.vec("spoke");
  Value3 from_centre = minus(p, centre_[axis]);
  for (int i = 0; i < 3; ++i) {
    if (along(u, i)) {
      from_centre[i] = Value(0.0);
    } else if (from_centre[i].number() == nullptr) {
      recorder_.set(spoke[i], from_centre[i]);
      from_centre[i] = spoke[i];
    }
  }
  Value3 result = plus(centre_[axis], turned(from_centre, axis, back));
  for (int i = 0; i < 3; ++i) {
    if (along(u, i)) result[i] = p[i];
  }
  return result;
}

void CycleGeometry::carry(const Vec& into, const Value3& at_zero, int carrier) {
  const std::vector<int> chain = machine_.work_chain(carrier);
  recorder_.set(into, at_zero);
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
    recorder_.set(into, turned_about(values(into), *axis, false));
  }
}

void CycleGeometry::carry_back(const Vec& into, const Value3& now, int carrier) {
  recorder_.set(into, now);
  for (const int axis : machine_.work_chain(carrier)) {
    recorder_.set(into, turned_about(values(into), axis, true));
  }
}

Value3 CycleGeometry::in_machine(const Value3& tool_direction) const {
  Value3 v = tool_direction;
  const std::vector<int> chain = machine_.tool_chain();
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) v = turned(v, *axis, false);
  return v;
}

void CycleGeometry::set_centre(int axis, const Value3& value) {
  for (int k = 0; k < 3; ++k) {
    const auto* variable = std::get_if<VariableNode>(&centre_[axis][k].node());
    if (variable != nullptr) recorder_.set(Variable{variable->name}, value[k]);
  }
}

void CycleGeometry::work_out_arm() {
  const std::vector<int> chain = machine_.tool_chain();
  arm_ = {Value(0.0), Value(0.0), Value(0.0)};
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
    inner_arm_[*axis] = arm_;
    arm_ = turned_about(arm_, *axis, false);
    if (all_known(arm_)) continue;
    const Vec kept = recorder_.vec(fmt::format("arm of {}", machine_.rotary[*axis].letter));
    for (int i = 0; i < 3; ++i) {
      if (arm_[i].number() != nullptr) continue;
      recorder_.set(kept[i], arm_[i]);
      arm_[i] = kept[i];
    }
  }
  offset_ = minus({Value(0.0), Value(0.0), Value(0.0)}, arm_);
  if (machine_.probe.length_datum == LengthDatum::tip) {
    offset_[2] = offset_[2] - stylus_diameter_ / Value(2.0);
  }
  tool_axis_ = in_machine({Value(0.0), Value(0.0), Value(1.0)});
}

}  // namespace pivotrace

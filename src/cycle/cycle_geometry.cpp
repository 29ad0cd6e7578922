#include "cycle/cycle_geometry.h"

#include <fmt/format.h>

#include <cmath>
#include <utility>

#include "cycle/cycle_job.h"
#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

using contact::Way;

namespace {

bool along(const Eigen::Vector3d& direction, int axis) {
  return std::abs(direction[axis]) > 1.0 - 1e-12;
}

/// Gives a variable to every component that is not a plain number.
void name_unknown(StepRecorder& recorder, const Vec& name, contact::Vec3<Value>& v) {
  for (int i = 0; i < 3; ++i) {
    if (v[i].number() != nullptr) continue;
    recorder.set(name[i], v[i]);
    v[i] = name[i];
  }
}

bool all_known(const contact::Vec3<Value>& v) {
  return v[0].number() != nullptr && v[1].number() != nullptr && v[2].number() != nullptr;
}

/// The spoke of a turn gets variables, or it would be written out once for every component.
struct KeepSpoke {
  StepRecorder& recorder;

  void spoke(const contact::Axis<Value>& axis, contact::Vec3<Value>& arm) const {
    const Vec name = recorder.vec("spoke");
    for (int i = 0; i < 3; ++i) {
      if (leaves_alone(axis, i)) arm[i] = Value(0.0);
    }
    name_unknown(recorder, name, arm);
  }
  void turned(int, contact::Vec3<Value>&) const {}
};

/// The point itself moves from turn to turn in the variables it is worked out into.
struct KeepPoint : KeepSpoke {
  const Vec& into;

  void turned(int, contact::Vec3<Value>& point) const {
    recorder.set(into, value3(point));
    point = vec3(values(into));
  }
};

/// The arm of every tool-side axis gets variables.
struct KeepArm : KeepSpoke {
  const Machine& machine;

  void turned(int axis, contact::Vec3<Value>& arm) const {
    if (all_known(arm)) return;
    name_unknown(recorder, recorder.vec(fmt::format("arm of {}", machine.rotary[axis].letter)),
                 arm);
  }
};

}  // namespace

AxisCentres::AxisCentres(const Machine& machine, const MachineState& state, StepRecorder& recorder)
    : machine_(machine), recorder_(recorder) {
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const RotaryAxis& axis = machine.rotary[i];
    const Line& line = state.axis_lines[i];
    chain_.add(axis.side == AxisSide::tool, vec3(lengths(line.point_mm)), vec3(line.direction),
               Value(turn_sign(state.turns[i])));
    const std::string from = axis.side == AxisSide::tool ? " from shown position" : "";
    for (int k = 0; k < 3; ++k) {
      if (along(line.direction, k)) continue;
      chain_.axes[i].point[k] = recorder.parameter(
          fmt::format("centre of {} {}", axis.letter, linear_letters[k]), length(line.point_mm[k]),
          fmt::format("axis {}, nominal {}{}", axis.letter, linear_letters[k], from));
    }
  }
}

StandingAxes::StandingAxes(const Machine& machine, contact::Chain<Value> chain,
                           const std::vector<Value>& degrees, const Value& stylus_diameter,
                           StepRecorder& recorder)
    : machine_(machine),
      recorder_(recorder),
      chain_(std::move(chain)),
      angle_(machine.rotary.size()),
      stylus_diameter_(stylus_diameter) {
  for (std::size_t i = 0; i < degrees.size(); ++i) stand_at(i, degrees[i]);
  work_out_arm();
}

void StandingAxes::stand_at(std::size_t axis, const Value& degrees) {
  if (degrees.number() != nullptr) {
    angle_[axis] = degrees;
    chain_.axes[axis].stand_at(cosine(degrees), sine(degrees));
    return;
  }
  const char letter = machine_.rotary[axis].letter;
  const Variable angle_of = recorder_.variable(fmt::format("angle of {}", letter));
  const Variable cosine_of = recorder_.variable(fmt::format("cosine {}", letter));
  const Variable sine_of = recorder_.variable(fmt::format("sine {}", letter));
  angle_[axis] = angle_of;
  recorder_.set(angle_of, degrees, fmt::format("angle of {} at this station", letter));
  recorder_.set(cosine_of, cosine(angle_of));
  recorder_.set(sine_of, sine(angle_of));
  chain_.axes[axis].stand_at(cosine_of, sine_of);
}

Value StandingAxes::turn_sine(int axis) const {
  return chain_.axes[axis].sense * chain_.axes[axis].sine;
}

void StandingAxes::carry(const Vec& into, const Value3& at_zero, int carrier) const {
  recorder_.set(into, at_zero);
  contact::machine_from_carried(chain_, carrier, vec3(values(into)), KeepPoint{{recorder_}, into});
}

void StandingAxes::carry_back(const Vec& into, const Value3& now, int carrier) const {
  recorder_.set(into, now);
  contact::carried_from_machine(chain_, carrier, vec3(values(into)), KeepPoint{{recorder_}, into});
}

Value3 StandingAxes::in_machine(const Value3& tool_direction) const {
  return value3(contact::machine_from_tool(chain_, vec3(tool_direction)));
}

Variable StandingAxes::centre_variable(int axis, int along) const {
  return Variable{std::get<VariableNode>(chain_.axes[axis].point[along].node()).name};
}

void StandingAxes::work_out_arm() {
  const Value3 arm =
      value3(contact::tool_arm(chain_, contact::Vec3<Value>{}, KeepArm{{recorder_}, machine_}));
  offset_ = minus({Value(0.0), Value(0.0), Value(0.0)}, arm);
  offset_[2] =
      offset_[2] - centre_above_datum(machine_.probe.length_datum, stylus_diameter_ / Value(2.0));
  tool_axis_ = in_machine({Value(0.0), Value(0.0), Value(1.0)});
}

}  // namespace pivotrace

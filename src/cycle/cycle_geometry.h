// Where things are, worked out in the program's own arithmetic: turning points about axis centres
// that the program itself improves while it runs.
#pragma once

#include <string>
#include <vector>

#include "control/step_recorder.h"
#include "cycle/cycle_layout.h"
#include "cycle/symbolic_scalar.h"
#include "pivotrace/contact/chain.h"

namespace pivotrace {

/// The machine with its rotary axes standing at given angles, in the program's variables.
class StandingAxes {
 public:
  /// `degrees`: of every axis, as numbers or table entries; recorded with what follows from them.
  StandingAxes(const Machine& machine, contact::Chain<Value> chain,
               const std::vector<Value>& degrees, const Value& stylus_diameter,
               StepRecorder& recorder);

  const Value& angle_deg(int axis) const { return angle_[axis]; }
  /// cos and sin of the turn of the carried body about the + direction.
  Value turn_cosine(int axis) const { return chain_.axes[axis].cosine; }
  Value turn_sine(int axis) const;

  /// `into` := a point carried by work axis `carrier`, given at rotary 0, as it stands now.
  void carry(const Vec& into, const Value3& at_zero, int carrier) const;
  /// `into` := the same backwards: a point as it stands now, seen at rotary 0.
  void carry_back(const Vec& into, const Value3& now, int carrier) const;

  Value3 in_machine(const Value3& tool_direction) const;  ///< turned by the tool-side axes
  Value3 shown(const Value3& stylus) const { return plus(stylus, offset_); }
  Value3 stylus(const Value3& shown) const { return minus(shown, offset_); }
  const Value3& tool_axis() const { return tool_axis_; }
  bool head_turns() const { return !machine_.tool_chain().empty(); }

  /// The variable that holds a coordinate across an axis of its centre.
  Variable centre_variable(int axis, int along) const;
  /// The arm of the tool-side axes, worked out anew from their centres.
  void work_out_arm();

 private:
  void stand_at(std::size_t axis, const Value& degrees);

  const Machine& machine_;
  StepRecorder& recorder_;
  contact::Chain<Value> chain_;
  std::vector<Value> angle_;
  Value3 offset_, tool_axis_;
  Value stylus_diameter_;
};

/// The centres of the rotary axes, as parameters of the program.
class AxisCentres {
 public:
  /// Records the parameters: of every axis only the coordinates across it.
  AxisCentres(const Machine& machine, const MachineState& state, StepRecorder& recorder);

  StandingAxes standing_at(const std::vector<Value>& degrees, const Value& stylus_diameter) const {
    return {machine_, chain_, degrees, stylus_diameter, recorder_};
  }

 private:
  const Machine& machine_;
  StepRecorder& recorder_;
  contact::Chain<Value> chain_;
};

}  // namespace pivotrace

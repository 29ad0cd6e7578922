// From station to station: up, turn, prove the turn where it could do harm, visit what is touched
// there, keep where it was found.
#pragma once

#include <optional>

#include "cycle/running_centre.h"
#include "cycle/visit_steps.h"

namespace pivotrace {

/// The walk begins wherever the rotary axes stand, with the spindle at 0.
class StationWalk {
 public:
  StationWalk(const CycleJob& job, const CycleVariables& variables, const AxisCentres& centres,
              StepRecorder& steps)
      : job_(job),
        variables_(variables),
        centres_(centres),
        moves_(variables, steps),
        visits_(job, variables, steps),
        steps_(steps) {}

  /// All stays of a part. `solves`: the control works out the centre of the axis that turns in it.
  std::optional<FoundCentre> walk(const Part& part, bool solves);

 private:
  void turn_to_first(const Part& part);
  std::vector<Value> turn_to(const Part& part, const LoopIndex& stay) const;
  Variable angle_of(int axis) const;
  void turn_axis(int axis, const Value& to) const;
  void run_stay(const Part& part, const LoopIndex& stay, std::optional<RunningCentre>& centre);
  void run_visit(const Part& part, const LoopIndex& stay, std::size_t visit, StandingAxes& axes,
                 RunningCentre* centre);
  void learn(const Part& part, const LoopIndex& stay, std::size_t visit,
             const StandingAxes& axes) const;
  void prove_turn(const Part& part, const LoopIndex& stay) const;
  void feel_empty_place(const Part& part, const LoopIndex& stay) const;
  void ask_operator_to_look(const Part& part, const LoopIndex& stay) const;

  const CycleJob& job_;
  const CycleVariables& variables_;
  const AxisCentres& centres_;
  CycleMoves moves_;
  VisitSteps visits_;
  StepRecorder& steps_;
  std::optional<RotaryAngles> standing_;  ///< where the rotary axes stand, once known
  bool flip_ = false;                     ///< the spindle stands at 180 deg
};

}  // namespace pivotrace

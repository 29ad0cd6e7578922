// All touches on one target during one stay: above it, fast passes to find it where its place is
// unsure, then one pass to measure.
#pragma once

#include "cycle/touch_steps.h"

namespace pivotrace {

class VisitSteps {
 public:
  VisitSteps(const CycleJob& job, const CycleVariables& variables, StepRecorder& steps)
      : job_(job),
        variables_(variables),
        moves_(variables, steps),
        touches_(job, variables, steps),
        steps_(steps) {}

  /// From the safe height to one lift above the target; `predicted` is then where it was found. The
  /// caller says where it goes from there.
  void visit(const Part& part, const LoopIndex& stay, std::size_t visit, const StandingAxes& axes);

 private:
  bool needs_no_feeler(const TouchPlace& at, bool first_visit) const;
  void feel_from_above(const TouchPlace& at) const;
  void go_above(const TouchPlace& at) const;
  void run_passes(const TouchPlace& at);
  Pass known_pass(const TouchPlace& at, bool measures) const;
  Pass undecided_pass(const TouchPlace& at, const Condition& measures) const;
  void run_pass(const TouchPlace& at, const Pass& pass, std::optional<bool> again);
  Value far_off(const Value& shares_of_rough) const;

  const CycleJob& job_;
  const CycleVariables& variables_;
  CycleMoves moves_;
  TouchSteps touches_;
  StepRecorder& steps_;
};

}  // namespace pivotrace

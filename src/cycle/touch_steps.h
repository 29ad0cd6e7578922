// One touch: over the stand-off, down beside the surface, find fast, measure slowly, back the way it
// came, compare with the prediction, record.
#pragma once

#include <optional>

#include "cycle/cycle_moves.h"
#include "cycle/touch_record.h"

namespace pivotrace {

/// A touch that ends this near to where it gives up has met nothing, whatever the control says of
/// it [mm]: common practice, no source. Far above rounding, far below what a stylus gives.
inline constexpr double missed_mm = 0.05;

/// One round of touches on a target.
struct Pass {
  std::optional<bool> measures;  ///< the measuring pass, a finding pass, or decided by the program
  Condition in_measuring_pass;   ///< how the program decides
  Variable touch_limit;          ///< largest distance from the prediction
};

/// What is touched, and how the machine stands.
struct TouchPlace {
  const Part& part;
  LoopIndex stay;
  const CycleTarget& target;
  const ArtefactDistances& distances;
  const VisitTable& visit;
  const StandingAxes& axes;
};

class TouchSteps {
 public:
  TouchSteps(const CycleJob& job, const CycleVariables& variables, StepRecorder& steps)
      : parameters_(variables.parameters),
        variables_(variables.touch),
        moves_(variables, steps),
        record_(job, variables.touch, steps),
        steps_(steps) {}

  /// Leaves the stylus one lift above the travel plane and adds what the touch shows to `shift`.
  void touch(const TouchPlace& at, const LoopIndex& which, const Pass& pass);

 private:
  /// Directions in the machine frame; `out` in the tool's.
  struct Directions {
    Value3 out, outward, share;
  };
  Directions directions(const TouchPlace& at, const LoopIndex& which) const;
  void go_beside(const TouchPlace& at, const Directions& d, const Value3& from) const;
  void find_fast(const TouchPlace& at, const Directions& d, const Value3& from) const;
  /// Back off and touch again; `trip` is then the measured point. Returns the fast touch.
  Variable measure_slowly(const Value3& outward, double side) const;
  void back_away(const StandingAxes& axes) const;

  const OperatorParameters& parameters_;
  const TouchVariables& variables_;
  CycleMoves moves_;
  TouchRecord record_;
  StepRecorder& steps_;
};

}  // namespace pivotrace

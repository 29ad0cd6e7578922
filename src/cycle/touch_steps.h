// One touch: to the stand-off, find fast, measure slowly, back to the stand-off, compare with the
// prediction, record; and the ways from touch to touch.
#pragma once

#include <optional>

#include "cycle/cycle_moves.h"
#include "cycle/touch_record.h"

namespace pivotrace {

/// One round of touches on a target.
struct Pass {
  std::optional<bool> measures;  ///< the measuring pass, a finding pass, or decided by the program
  Condition in_measuring_pass;   ///< how the program decides
  Variable touch_limit;          ///< largest distance from the prediction
  Value away;                    ///< centre to stylus centre before each touch
  Value look;                    ///< and where it gives up
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

  /// Shown position where a pass begins: over the stand-off of its first touch, one lift above the
  /// travel plane.
  Value3 entry(const TouchPlace& at, const Value& away) const;
  /// From the stand-off of the touch before, or from the entry, to the stand-off of this one; adds
  /// what the touch shows to `shift`.
  void touch(const TouchPlace& at, const LoopIndex& which, const Pass& pass);
  /// From the last stand-off to one lift above the travel plane.
  void leave(const StandingAxes& axes) const;

 private:
  /// Directions in the machine frame; `out` in the tool's.
  struct Directions {
    Value3 out, outward, share;
  };
  Directions directions(const TouchPlace& at, const LoopIndex& which) const;
  void go_to_stand_off(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                       const Pass& pass) const;
  /// From one touch to the next.
  void go_on(const TouchPlace& at, const LoopIndex& which, const Directions& d,
             const Pass& pass) const;
  void go_over(const TouchPlace& at, const Directions& d, const Pass& pass) const;
  void go_beside(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                 const Pass& pass) const;
  void go_round(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                const Pass& pass) const;
  void set_places(const TouchPlace& at, const Directions& d, const Pass& pass) const;
  Value3 stand_off(const TouchPlace& at, const Directions& d, const Pass& pass) const;
  Value3 centre(const TouchPlace& at) const;
  void find_fast(const TouchPlace& at, const Directions& d, const Pass& pass) const;
  /// Back off and touch again; `trip` is then the measured point. Returns the fast touch.
  Variable measure_slowly(const Value3& outward, double side) const;

  const OperatorParameters& parameters_;
  const TouchVariables& variables_;
  CycleMoves moves_;
  TouchRecord record_;
  StepRecorder& steps_;
};

}  // namespace pivotrace

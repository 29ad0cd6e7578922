// The moves a cycle is made of, each with the feed and the way back that belong to it.
#pragma once

#include <string>

#include "cycle/cycle_parameters.h"

namespace pivotrace {

class CycleMoves {
 public:
  CycleMoves(const CycleVariables& variables, StepRecorder& steps)
      : safe_height_(variables.parameters.safe_height),
        feed_(variables.parameters.position_feed),
        trip_(variables.touch.trip),
        steps_(steps) {}

  /// Rapid, straight up.
  void up_to_safe_height() const;
  /// Up from where rapid moves must not start.
  void back_up() const;
  /// At the safe height over a place, then down to it, watched.
  void down_to(const Vec& shown) const;
  void rapid_over(const Vec& shown) const;
  void guarded(const Vec& to, Retreat retreat) const;
  void back_to(const Vec& to) const;
  void read_trip_point() const;
  /// The program ends with this alarm unless the condition holds.
  void demand(const Value& left, Comparison comparison, const Value& right,
              const std::string& alarm, Retreat retreat = Retreat::up) const;

 private:
  Value safe_height_;
  Value feed_;
  Vec trip_;
  StepRecorder& steps_;
};

}  // namespace pivotrace

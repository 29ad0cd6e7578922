// Everything that can be in the way at one set of angles, looked up once for many touches.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// The same questions as objection_to_touch and objection_to_station. References must outlive it.
class StayCheck {
 public:
  StayCheck(const Machine& machine, const MachineState& state, const ProbingDistances& distances,
            const RotaryAngles& angles_rad, bool flip);
  ~StayCheck();

  /// Why no stylus may be here at all, or nothing: travel of the axes, a spindle that points upwards.
  std::optional<std::string> objection_to_angles() const;
  std::optional<std::string> objection_to(const PlannedTouch& touch) const;
  /// From the safe height down, from touch to touch, and up again.
  std::optional<std::string> objection_to_ways(const std::vector<PlannedTouch>& touches) const;
  /// Straight down onto the top of what `place` touches, with the spindle upright.
  bool can_start_at(const PlannedTouch& place) const;

 private:
  struct Ways;
  std::unique_ptr<Ways> ways_;
};

}  // namespace pivotrace

// What goes wrong on purpose: when it begins and what it does to triggers and turns.
#pragma once

#include <optional>
#include <string>

#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/fault.h"

namespace pivotrace::rehearsal {

/// A fault that begins once, at its touch, and lasts as its kind says. Does nothing when none was asked
/// for.
class MadeUpFault {
 public:
  explicit MadeUpFault(const std::optional<Fault>& fault) : fault_(fault) {}

  /// To be told before anything is done for a touch, by its number (0 = the program starts). Whether
  /// everything that is mounted has to move now.
  bool begin_at(int touch, const RotaryAngles& commanded_rad);

  /// Whether the trigger of this touch goes unnoticed, or comes in the air.
  bool misses(int touch) const { return is_at(touch, FaultKind::no_trigger); }
  bool comes_early(int touch) const { return is_at(touch, FaultKind::early_trigger); }

  /// To be told before the rotary axes turn; what there is to say of it, if anything.
  std::optional<std::string> turn(const RotaryAngles& from_rad, const RotaryAngles& to_rad);

  /// Where the axis goes when it is told to go to `target_rad`, and how far off it then stops.
  double goes_to_rad(int axis, double target_rad) const;
  double slip_rad(int axis) const { return slip_rad_[axis]; }

 private:
  bool is_at(int touch, FaultKind kind) const {
    return fault_ && fault_->touch == touch && fault_->kind == kind;
  }

  std::optional<Fault> fault_;
  bool begun_ = false;
  std::optional<RotaryAngles> mirrored_at_rad_;  ///< since when the axes turn the wrong way
  bool mirror_said_ = false;
  bool slip_pending_ = false;
  RotaryAngles slip_rad_{};
};

}  // namespace pivotrace::rehearsal

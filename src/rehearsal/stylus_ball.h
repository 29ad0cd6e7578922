// Where the stylus ball meets what is mounted, and how deep it is pressed into it.
#pragma once

#include <optional>

#include "pivotrace/survey/machine_errors.h"
#include "rehearsal/clearance.h"
#include "rehearsal/trigger.h"

namespace pivotrace::rehearsal {

/// What ends a probe move.
struct Trigger {
  double part = 0.0;  ///< of the commanded way, 0..1
  int work = -1;      ///< index into the work solids; -1: in the air (a made-up fault)
};

/// The ball of one machine at one time: everything it refers to must outlive it.
class StylusBall {
 public:
  StylusBall(const Machine& machine, const MotionChecker& checker)
      : machine_(machine), checker_(checker) {}

  /// The first body met on a straight way, as the probe notices it with its errors.
  std::optional<Trigger> first_trigger(const Posture& from, const Posture& to,
                                       const RotaryAngles& commanded_rad, double spindle_rad,
                                       MachineErrors& errors) const;

  /// From the ball's surface to a body; negative inside it.
  double distance_mm(int work, const Posture& posture) const;
  /// How deep the ball is in a body, or in anything that is one body with it.
  double pressed_mm(int work, const Posture& posture) const;

 private:
  struct Way {
    StraightPath path;  ///< in the carried frame of the body
    double contact_mm = 0.0;
  };
  StraightPath path_in_carried(int carried_by, const Posture& from, const Posture& to) const;
  std::optional<double> contact_mm(int work, double gap, const StraightPath& path) const;
  double trigger_way_mm(int work, const Way& way, const Posture& from,
                        const RotaryAngles& commanded_rad, double spindle_rad,
                        MachineErrors& errors) const;

  const Machine& machine_;
  const MotionChecker& checker_;
};

}  // namespace pivotrace::rehearsal

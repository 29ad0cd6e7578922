// Does anything touch anything on the way? Conservative advancement over every pair of bodies.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/resting_axes.h"
#include "rehearsal/solids.h"

namespace pivotrace::rehearsal {

/// Where the machine really is.
struct Posture {
  Eigen::Vector3d shown_mm = Eigen::Vector3d::Zero();  ///< real position of the slides
  RotaryAngles angles_rad{};                           ///< real angles
  AxisMotions motions_mm = no_motion();                ///< of the axes where they rest
};

Posture between(const Posture& from, const Posture& to, double part);

/// A moment at which one part of the probe and one body are near each other.
struct Nearness {
  int tool = -1;      ///< index into the tool solids
  int work = -1;      ///< index into the work solids
  double part = 0.0;  ///< of the motion, 0..1
  double distance_mm = 0.0;
};

/// What a motion may do.
struct MotionRules {
  double guard_mm = 0.0;        ///< report the first pair nearer than this; 0 = do not
  bool ball_may_touch = false;  ///< probe moves: contact of the ball is a trigger, not a collision
  /// The stylus, ball and shank, is pressed into this one of the work solids: the slides run on
  /// after a trigger, or the trigger was missed.
  int pressed_work = -1;
  int pressed_artefact = -1;  ///< and into this artefact and its stem (a missed trigger)
};

struct MotionReport {
  std::optional<Nearness> contact;   ///< the first; what comes after it was not looked at
  std::optional<Nearness> near;      ///< the first pair inside the guard distance
  std::optional<Nearness> smallest;  ///< see RehearsalReport::smallest_clearance
};

/// Checks motions of one machine in one state of truth.
///
/// A pair of bodies at distance D whose points approach each other by at most v per part of the
/// motion cannot touch before D / v. Each pair is looked at again no later than that, less
/// missed_contact_mm; the pair that is due first is looked at first. Speeds are bounded by the
/// slides' travel plus, for every turning axis, its angle times the largest distance any point of
/// the body can have from it.
class MotionChecker {
 public:
  MotionChecker(const Machine& machine, const MachineState& state, std::vector<ToolSolid> tool,
                std::vector<WorkSolid> work);

  MotionReport check(const Posture& from, const Posture& to, const MotionRules& rules,
                     double smallest_so_far_mm) const;

  /// The spindle turns the stylus offset with it.
  void set_stylus_offset(const Eigen::Vector3d& offset_mm) { state_.stylus_offset_mm = offset_mm; }
  const MachineState& state() const { return state_; }
  const std::vector<ToolSolid>& tool() const { return tool_; }
  const std::vector<WorkSolid>& work() const { return work_; }

  Eigen::Vector3d ball_mm(const Posture& posture) const;
  Eigen::Vector3d tool_axis(const Posture& posture) const;
  Eigen::Isometry3d machine_from_carried_pose(int carried_by, const Posture& posture) const;
  Solid tool_solid(int tool, const Posture& posture) const;
  Solid work_solid(int work, const Posture& posture) const;
  double distance_mm(int tool, int work, const Posture& posture) const;

 private:
  class Check;
  double speed_bound_mm(int tool, int work, const Posture& from, const Posture& to) const;

  const Machine* machine_;
  MachineState state_;
  std::vector<ToolSolid> tool_;
  std::vector<WorkSolid> work_;
};

}  // namespace pivotrace::rehearsal

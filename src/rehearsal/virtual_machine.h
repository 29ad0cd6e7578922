// The machine a program is rehearsed on: moves, triggers, collides, keeps time and errs as told.
#pragma once

#include <functional>
#include <utility>

#include "pivotrace/control/controlled_machine.h"
#include "pivotrace/control/operator_request.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/survey/machine_errors.h"
#include "rehearsal/clearance.h"
#include "rehearsal/made_up_fault.h"
#include "rehearsal/recorder.h"
#include "rehearsal/stylus_ball.h"

namespace pivotrace::rehearsal {

class VirtualMachine : public ControlledMachine {
 public:
  VirtualMachine(const Machine& machine, const RehearsalTruth& truth,
                 const RehearsalOptions& options);

  void line(int number, const std::string& text) override;
  AxisValues shown() const override;
  MachineAnswer rapid(const AxisValues& target) override;
  MachineAnswer feed(const AxisValues& target, const FeedRate& rate) override;
  MachineAnswer probe(const AxisValues& target, const FeedRate& rate, ProbeEnd& end) override;
  MachineAnswer dwell(double seconds) override;
  MachineAnswer function(Meaning meaning, std::optional<double> degrees) override;
  MachineAnswer auxiliary(const std::string& word) override;
  void message(const std::string& text) override;
  void log(const std::string& text) override;
  MachineAnswer operator_stop(const std::string& text, bool optional) override;

  /// How the operator looks up the variables a message names.
  void set_look_up(std::function<std::string(const std::string&)> look_up) {
    look_up_ = std::move(look_up);
  }
  /// How the operator types a number into the variable of this spelling.
  void set_typing(std::function<void(const std::string&, double)> type) { type_ = std::move(type); }
  /// What a variable holds, by its spelling: looked at by the operator.
  void set_reading(std::function<std::optional<double>(const std::string&)> read) {
    read_ = std::move(read);
  }

  /// What has happened so far, without the outcome of the program.
  RehearsalReport take_report();

 private:
  /// The control's coordinates may refer to the stylus tip; in here all refer to the ball's centre.
  Eigen::Vector3d linear_of(const AxisValues& values) const;
  RotaryAngles angles_of(const AxisValues& values) const;
  AxisValues shown_at(const Eigen::Vector3d& centre_mm) const;
  Posture posture_at(const Eigen::Vector3d& shown_mm, const RotaryAngles& real_rad,
                     const AxisMotions& motions_mm) const;
  Posture posture_at(const Eigen::Vector3d& shown_mm, const RotaryAngles& real_rad) const {
    return posture_at(shown_mm, real_rad, motions_mm_);
  }
  Posture posture() const { return posture_at(shown_mm_, real_rad_); }
  RotaryAngles settled(const RotaryAngles& target_rad);
  void begin_station();
  void turn_spindle_to(double degrees);

  /// A move without a probe; no `rate` = rapid.
  MachineAnswer travel(const AxisValues& target, const std::optional<FeedRate>& rate);
  MachineAnswer look_at_axes();
  MachineAnswer look_for_trigger() const;
  void type_position(const OperatorRequest& request);
  MachineAnswer look_at_value(const OperatorRequest& request) const;
  MachineAnswer check_limits(const AxisValues& target, const RotaryAngles& angles_rad);
  MachineAnswer check_axes_exist(const AxisValues& target);
  MachineAnswer check_clamps(const RotaryAngles& angles_rad);
  MachineAnswer check_path(const Posture& to, const MotionRules& rules, bool coordinated);
  MachineAnswer check_leg(const Posture& from, const Posture& to, const MotionRules& rules);

  MachineAnswer stop_at_trigger(const Eigen::Vector3d& target_mm, const Trigger& trigger,
                                double feed_mm_per_min, ProbeEnd& end);
  bool ball_is_free_at(const Posture& posture) const;
  MachineAnswer run_through(const Eigen::Vector3d& target_mm, const std::optional<Trigger>& missed,
                            double feed_mm_per_min, ProbeEnd& end);
  MachineAnswer note_overtravel(double overtravel_mm, int work);
  void note_touch(const Trigger& trigger, const Eigen::Vector3d& trip_mm, double feed_mm_per_min);
  void warn_of_loose_axes();

  void move_artefacts();

  StylusBall ball() const { return {machine_, checker_}; }
  Moment moment_at(const Posture& posture) const;
  Moment moment() const { return moment_at(posture()); }
  void tell_rest() const;
  ToolPart part_of(const Nearness& nearness) const;
  std::string body_name(const Nearness& nearness) const;
  void note_violation(ProblemNumber number, const Nearness& nearness, const std::string& text,
                      const Moment& moment);

  const Machine& machine_;
  RehearsalTruth truth_;
  const RehearsalOptions& options_;
  MadeUpFault fault_;
  MachineErrors errors_;
  std::vector<std::string> notes_;
  MotionChecker checker_;

  Eigen::Vector3d datum_mm_;  ///< ball centre minus the position the control shows
  Eigen::Vector3d shown_mm_;
  RotaryAngles commanded_rad_{};
  RotaryAngles real_rad_{};
  AxisMotions motions_mm_ = no_motion();
  bool settled_once_ = false;
  double spindle_rad_ = 0.0;
  std::vector<std::optional<bool>> clamped_;  ///< per rotary axis; nothing = not said yet
  std::string loose_noted_;                   ///< letters of axes touched while not clamped

  int triggers_ = 0;
  bool last_probe_triggered_ = false;

  std::function<std::string(const std::string&)> look_up_ = [](const std::string& text) {
    return text;
  };
  std::function<void(const std::string&, double)> type_ = [](const std::string&, double) {};
  std::function<std::optional<double>(const std::string&)> read_ = [](const std::string&) {
    return std::optional<double>();
  };
  std::size_t blocks_ = 0;
  Recorder recorder_;
};

}  // namespace pivotrace::rehearsal

#include "rehearsal/virtual_machine.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/length_text.h"
#include "control/control_state.h"
#include "pivotrace/base/length.h"
#include "pivotrace/control/operator_request.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"
#include "pivotrace/machine/motion_time.h"
#include "pivotrace/machine/tool_axis.h"

namespace pivotrace::rehearsal {

namespace {

/// A target may lie this far beyond a limit: emitted decimals and unit changes.
constexpr double limit_slack_mm = 1e-4;
constexpr double limit_slack_rad = 1e-6;
/// Samples of a move that presses the stylus, to find where it is pressed most.
constexpr int press_samples = 60;
/// Direction in which made-up faults move artefacts: no machine axis, neither up nor level.
const Eigen::Vector3d fault_direction = Eigen::Vector3d(2.0, -1.0, 2.0) / 3.0;

std::string position_text(const Moment& moment, const Machine& machine) {
  std::string text = position_words(moment.shown_mm, machine.inch);
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format("{} {} {:.3f}", i == 0 ? "," : "", machine.rotary[i].letter,
                        deg_from_rad(moment.commanded_rad[i]) + 0.0);
  }
  return machine.rotary.empty() ? text : text + " deg";
}

/// A rotary axis that stands this far from where it should is noticed by eye
/// (common practice, no source).
constexpr double seen_by_eye_rad = 0.1;

}  // namespace

VirtualMachine::VirtualMachine(const Machine& machine, const RehearsalTruth& truth,
                               const RehearsalOptions& options)
    : machine_(machine),
      truth_(truth),
      options_(options),
      fault_(options.fault),
      errors_(machine, truth_.survey, options.noise, truth.index_errors),
      checker_(machine, truth.survey.state, tool_solids(machine, truth.survey.state, notes_),
               work_solids(machine, truth.survey.state)),
      datum_mm_(datum_to_centre_mm(machine.probe.length_datum, machine.probe.stylus_radius_mm())),
      shown_mm_(options.start_mm + datum_mm_),
      commanded_rad_(options.start_angles_rad),
      clamped_(machine.rotary.size()) {
  if (fault_.begin_at(0, commanded_rad_)) move_artefacts();
  real_rad_ = settled(commanded_rad_);
  motions_mm_ = errors_.motions_mm();
  settled_once_ = true;
  begin_station();
  tell_rest();
}

void VirtualMachine::tell_rest() const {
  if (options_.at_rest) options_.at_rest(recorder_.seconds(), moment());
}

// ---- frames ------------------------------------------------------------------------------------

Eigen::Vector3d VirtualMachine::linear_of(const AxisValues& values) const {
  return Eigen::Vector3d(values[0], values[1], values[2]) + datum_mm_;
}

RotaryAngles VirtualMachine::angles_of(const AxisValues& values) const {
  RotaryAngles angles{};
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const int axis = control::axis_index(machine_.rotary[i].letter);
    if (axis < 0) continue;
    const double degrees = values[static_cast<std::size_t>(axis)];
    // An axis that is told to stay stays: degrees to radians and back may cost the last bit.
    const bool stays = degrees == deg_from_rad(commanded_rad_[i]);
    angles[i] = stays ? commanded_rad_[i] : rad_from_deg(degrees);
  }
  return angles;
}

AxisValues VirtualMachine::shown() const { return shown_at(shown_mm_); }

AxisValues VirtualMachine::shown_at(const Eigen::Vector3d& centre_mm) const {
  AxisValues values{};
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const int axis = control::axis_index(machine_.rotary[i].letter);
    if (axis >= 0) values[static_cast<std::size_t>(axis)] = deg_from_rad(commanded_rad_[i]);
  }
  const Eigen::Vector3d by_control_mm = centre_mm - datum_mm_;
  for (int i = 0; i < 3; ++i) values[static_cast<std::size_t>(i)] = by_control_mm[i];
  return values;
}

Posture VirtualMachine::posture_at(const Eigen::Vector3d& shown_mm, const RotaryAngles& real_rad,
                                   const AxisMotions& motions_mm) const {
  Posture posture;
  posture.shown_mm = errors_.slides_at_mm(shown_mm, recorder_.seconds());
  posture.angles_rad = real_rad;
  posture.motions_mm = motions_mm;
  return posture;
}

/// Where the rotary axes really come to rest for a commanded position.
RotaryAngles VirtualMachine::settled(const RotaryAngles& target_rad) {
  RotaryAngles real{};
  for (int i = 0; i < static_cast<int>(machine_.rotary.size()); ++i) {
    // An axis that does not move keeps the error it came to rest with.
    if (settled_once_ && target_rad[i] == commanded_rad_[i]) {
      real[i] = real_rad_[i];
      continue;
    }
    const double step = target_rad[i] - commanded_rad_[i];
    // Nobody knows how an axis came to where the program finds it: from below, as by its homing.
    const int side = !settled_once_ || step > 0.0 ? 1 : -1;
    errors_.arrive(i, target_rad[i], side);
    const double turned_rad = fault_.goes_to_rad(i, target_rad[i]);
    real[i] = errors_.stands_at_rad(i, target_rad[i], turned_rad) + fault_.slip_rad(i);
  }
  return real;
}

void VirtualMachine::begin_station() {
  errors_.begin_station();
  recorder_.begin_station(commanded_rad_);
}

// ---- the calls of the control ------------------------------------------------------------------

void VirtualMachine::line(int number, const std::string& /*text*/) {
  recorder_.begin_line(number);
  ++blocks_;
  if (options_.progress) options_.progress(blocks_);
}

MachineAnswer VirtualMachine::rapid(const AxisValues& target) {
  return travel(target, std::nullopt);
}

MachineAnswer VirtualMachine::feed(const AxisValues& target, const FeedRate& rate) {
  return travel(target, rate);
}

MachineAnswer VirtualMachine::dwell(double seconds) {
  recorder_.add_time(seconds);
  return std::nullopt;
}

MachineAnswer VirtualMachine::function(Meaning meaning, std::optional<double> degrees) {
  recorder_.add_time(function_s);
  switch (meaning) {
    case Meaning::spindle_clockwise:
    case Meaning::spindle_counterclockwise:
      return recorder_.stop(
          ProblemNumber::probe_fault, "the spindle is started with the probe in it",
          "take the word out: a turning probe breaks its cable or its stylus", moment());
    case Meaning::spindle_orient: turn_spindle_to(degrees.value_or(0.0)); break;
    case Meaning::coolant_on: recorder_.note("coolant is switched on while probing"); break;
    default: break;
  }
  return std::nullopt;
}

void VirtualMachine::turn_spindle_to(double degrees) {
  spindle_rad_ = rad_from_deg(degrees);
  const Eigen::Vector3d offset_mm = truth_.survey.state.stylus_offset_mm;
  checker_.set_stylus_offset(turned<double>(offset_mm, Eigen::Vector3d::UnitZ(), spindle_rad_));
}

MachineAnswer VirtualMachine::auxiliary(const std::string& word) {
  recorder_.add_time(function_s);
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    if (word == machine_.rotary[i].clamp) clamped_[i] = true;
    if (word == machine_.rotary[i].unclamp) clamped_[i] = false;
  }
  return std::nullopt;
}

void VirtualMachine::message(const std::string& text) { recorder_.message(look_up_(text)); }

void VirtualMachine::log(const std::string& text) { recorder_.log(text); }

MachineAnswer VirtualMachine::operator_stop(const std::string& text, bool /*optional*/) {
  recorder_.operator_stop();
  if (!text.empty()) recorder_.message(look_up_(text));
  const OperatorRequest request = read_request(text);
  switch (request.task) {
    case OperatorTask::read: break;
    case OperatorTask::turn_spindle: turn_spindle_to(request.degrees); break;
    case OperatorTask::look_at_axes: return look_at_axes();
    case OperatorTask::look_for_trigger: return look_for_trigger();
    case OperatorTask::type_position: type_position(request); break;
    case OperatorTask::look_at_value: return look_at_value(request);
  }
  return std::nullopt;
}

MachineAnswer VirtualMachine::look_for_trigger() const {
  if (last_probe_triggered_) return std::nullopt;
  return Problem{ProblemNumber::program_stopped,
                 "the operator sees that the probe has not triggered",
                 {"", 0, 0},
                 "find out why nothing was met"};
}

/// The screen shows as many decimals as this: common practice, no source.
constexpr double screen_step_mm = 0.001;
constexpr double screen_step_inch = 0.0001;

void VirtualMachine::type_position(const OperatorRequest& request) {
  const AxisValues now = shown();
  const double unit = machine_.inch ? mm_per_inch : 1.0;
  const double step = machine_.inch ? screen_step_inch : screen_step_mm;
  for (std::size_t i = 0; i < 3; ++i) {
    type_(request.variables[i], std::round(now[i] / unit / step) * step);
  }
}

MachineAnswer VirtualMachine::look_at_value(const OperatorRequest& request) const {
  const std::optional<double> value = read_(request.variables[0]);
  if (value && *value >= 0.0) return std::nullopt;
  const std::string seen =
      value ? fmt::format("that {} is below 0: {:.4f}", request.variables[0], *value)
            : fmt::format("no variable {}", request.variables[0]);
  return Problem{ProblemNumber::program_stopped,
                 "the operator sees " + seen,
                 {"", 0, 0},
                 "the text of the stop says what is wrong; retract by hand, back the way it came"};
}

/// What a person sees without an instrument.
MachineAnswer VirtualMachine::look_at_axes() {
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const double off_rad = std::remainder(real_rad_[i] - commanded_rad_[i], 2.0 * std::numbers::pi);
    if (std::fabs(off_rad) < seen_by_eye_rad) continue;
    return Problem{ProblemNumber::program_stopped,
                   fmt::format("the operator sees that {} does not stand at {:.1f} deg",
                               machine_.rotary[i].letter, deg_from_rad(commanded_rad_[i])),
                   {"", 0, 0},
                   "find out why it turned the wrong way or not far enough"};
  }
  return std::nullopt;
}

RehearsalReport VirtualMachine::take_report() {
  return recorder_.take(moment(), truth_.survey.state, notes_);
}

// ---- moving ------------------------------------------------------------------------------------

MachineAnswer VirtualMachine::travel(const AxisValues& target,
                                     const std::optional<FeedRate>& rate) {
  const Eigen::Vector3d target_mm = linear_of(target);
  const RotaryAngles target_rad = angles_of(target);
  if (MachineAnswer stop = check_limits(target, target_rad)) return stop;
  const bool turning = target_rad != commanded_rad_;
  if (turning) {
    if (MachineAnswer stop = check_clamps(target_rad)) return stop;
    if (const auto said = fault_.turn(commanded_rad_, target_rad)) recorder_.fault(*said);
  }
  const RotaryAngles real_rad = turning ? settled(target_rad) : real_rad_;
  MotionRules rules;
  if (!rate || turning) rules.guard_mm = options_.guard_mm;
  const bool coordinated = rate.has_value();
  const AxisMotions motions_mm = turning ? errors_.motions_mm() : motions_mm_;
  const Posture there = posture_at(target_mm, real_rad, motions_mm);
  if (MachineAnswer stop = check_path(there, rules, coordinated)) return stop;
  RotaryAngles way_rad{};
  for (std::size_t i = 0; i < way_rad.size(); ++i) way_rad[i] = target_rad[i] - commanded_rad_[i];
  recorder_.add_time(move_s(machine_, target_mm - shown_mm_, way_rad, rate));
  recorder_.count_move();
  shown_mm_ = target_mm;
  commanded_rad_ = target_rad;
  real_rad_ = real_rad;
  motions_mm_ = motions_mm;
  if (turning) begin_station();
  tell_rest();
  return std::nullopt;
}

MachineAnswer VirtualMachine::check_limits(const AxisValues& target,
                                           const RotaryAngles& angles_rad) {
  const auto beyond = [&](char letter, double value, const char* unit, const Range& travel,
                          double factor) {
    return recorder_.stop(
        ProblemNumber::travel_exceeded,
        fmt::format("{} {:.3f} {} lies beyond its travel {:g} to {:g} {}", letter, value * factor,
                    unit, travel.low * factor, travel.high * factor, unit),
        "move the artefact or leave this station out", moment());
  };
  for (std::size_t i = 0; i < 3; ++i) {
    const Range& travel = machine_.linear.travel_mm[i];
    if (!travel.contains(target[i], limit_slack_mm)) {
      return beyond(axis_letters[i], target[i], length_unit_word(machine_.inch), travel,
                    in_length_unit(1.0, machine_.inch));
    }
  }
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const RotaryAxis& axis = machine_.rotary[i];
    if (!axis.travel_rad.contains(angles_rad[i], limit_slack_rad)) {
      return beyond(axis.letter, angles_rad[i], "deg", axis.travel_rad, deg_from_rad(1.0));
    }
  }
  return check_axes_exist(target);
}

MachineAnswer VirtualMachine::check_axes_exist(const AxisValues& target) {
  for (std::size_t axis = 3; axis < target.size(); ++axis) {
    if (target[axis] == 0.0 || machine_.rotary_index(axis_letters[axis]) >= 0) continue;
    return recorder_.stop(
        ProblemNumber::program_error,
        fmt::format("the program moves {}, an axis this machine does not have", axis_letters[axis]),
        "check that program and machine file belong together", moment());
  }
  return std::nullopt;
}

MachineAnswer VirtualMachine::check_clamps(const RotaryAngles& angles_rad) {
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    if (angles_rad[i] == commanded_rad_[i] || !clamped_[i].value_or(false)) continue;
    return recorder_.stop(
        ProblemNumber::program_error,
        fmt::format("{} is turned while it is clamped", machine_.rotary[i].letter),
        fmt::format("release it first with {}", machine_.rotary[i].unclamp), moment());
  }
  return std::nullopt;
}

/// Checks the straight path, and for rapid moves of several slides also the path they take when
/// each runs at the same speed until it is there: many controls do not coordinate rapid moves.
MachineAnswer VirtualMachine::check_path(const Posture& to, const MotionRules& rules,
                                         bool coordinated) {
  if (MachineAnswer stop = check_leg(posture(), to, rules)) return stop;
  if (coordinated) return std::nullopt;
  const Posture from = posture();
  const Eigen::Vector3d way = to.shown_mm - from.shown_mm;
  std::array<double, 3> legs{std::fabs(way.x()), std::fabs(way.y()), std::fabs(way.z())};
  std::sort(legs.begin(), legs.end());
  if (legs[1] < limit_slack_mm) return std::nullopt;  // one slide alone: the path is straight
  Posture at = from;
  for (const double leg : legs) {
    Posture next = to;
    for (int i = 0; i < 3; ++i) {
      const double done = std::clamp(way[i], -leg, leg);
      next.shown_mm[i] = from.shown_mm[i] + done;
    }
    next.angles_rad = between(from, to, legs[2] > 0.0 ? leg / legs[2] : 1.0).angles_rad;
    if (MachineAnswer stop = check_leg(at, next, rules)) return stop;
    at = next;
  }
  return std::nullopt;
}

MachineAnswer VirtualMachine::check_leg(const Posture& from, const Posture& to,
                                        const MotionRules& rules) {
  const MotionReport found = checker_.check(from, to, rules, recorder_.smallest_clearance_mm());
  const auto moment_of = [&](const Nearness& nearness) {
    return moment_at(between(from, to, nearness.part));
  };
  if (found.smallest) {
    recorder_.clearance({found.smallest->distance_mm, part_of(*found.smallest),
                         body_name(*found.smallest), moment_of(*found.smallest)});
  }
  if (found.near && !found.contact) {
    const bool turning = from.angles_rad != to.angles_rad;
    note_violation(
        ProblemNumber::unguarded_move, *found.near,
        fmt::format("{} {} from {} during {}; {} are wanted", tool_part_word(part_of(*found.near)),
                    length_text(found.near->distance_mm, machine_.inch, 2), body_name(*found.near),
                    turning ? "a turn" : "a rapid move",
                    round_length_text(options_.guard_mm, machine_.inch)),
        moment_of(*found.near));
  }
  if (!found.contact) return std::nullopt;
  const Moment where = moment_of(*found.contact);
  const std::string text =
      fmt::format("{} hits {}", tool_part_word(part_of(*found.contact)), body_name(*found.contact));
  note_violation(ProblemNumber::collision, *found.contact, text, where);
  shown_mm_ = where.shown_mm + datum_mm_;
  tell_rest();
  return Problem{ProblemNumber::collision,
                 fmt::format("{} at {}", text, position_text(where, machine_)),
                 {"", 0, 0},
                 "change the plan, the clearances or the set-up; the program must not be run"};
}

// ---- touching ----------------------------------------------------------------------------------

MachineAnswer VirtualMachine::probe(const AxisValues& target, const FeedRate& rate, ProbeEnd& end) {
  const Eigen::Vector3d target_mm = linear_of(target);
  if (MachineAnswer stop = check_limits(target, commanded_rad_)) return stop;
  const int touch = triggers_ + 1;
  if (fault_.begin_at(touch, commanded_rad_)) move_artefacts();
  const std::optional<Trigger> contact = ball().first_trigger(
      posture(), posture_at(target_mm, real_rad_), commanded_rad_, spindle_rad_, errors_);
  std::optional<Trigger> trigger = contact;
  if (contact) triggers_ = touch;
  if (contact && fault_.misses(touch)) {
    trigger.reset();
    recorder_.fault(
        fmt::format("touch {}, on {}, is not noticed", touch, checker_.work()[contact->work].name));
  }
  if (contact && fault_.comes_early(touch)) {
    trigger = Trigger{0.5 * contact->part, -1};
    recorder_.fault(fmt::format("touch {} triggers half-way, in the air", touch));
  }
  recorder_.count_move();
  last_probe_triggered_ = trigger.has_value();
  return trigger ? stop_at_trigger(target_mm, *trigger, rate.value, end)
                 : run_through(target_mm, contact, rate.value, end);
}

/// The control latches the position, the slides come to rest a little later.
MachineAnswer VirtualMachine::stop_at_trigger(const Eigen::Vector3d& target_mm,
                                              const Trigger& trigger, double feed_mm_per_min,
                                              ProbeEnd& end) {
  const Eigen::Vector3d start_mm = shown_mm_;
  const Eigen::Vector3d way = target_mm - start_mm;
  const double speed = feed_mm_per_min / 60.0;
  const double delay_mm = speed * truth_.trigger_delay_s;
  const double brake_mm = 0.5 * speed * speed / machine_.linear.acceleration_mm_per_s2;
  const double length = way.norm();
  const auto at = [&](double way_mm) {
    const double part = length > 0.0 ? std::min(1.0, way_mm / length) : 0.0;
    return Eigen::Vector3d(start_mm + part * way);
  };
  const double trigger_mm = trigger.part * length;
  end.triggered = true;
  end.triggered_at_start = trigger_mm <= 0.0;
  const Eigen::Vector3d trip_mm = end.triggered_at_start ? start_mm : at(trigger_mm + delay_mm);
  const Eigen::Vector3d rest_mm =
      end.triggered_at_start ? start_mm : at(trigger_mm + delay_mm + brake_mm);
  end.trip = shown_at(trip_mm);
  if (!end.triggered_at_start) {
    const Posture at_trigger = posture_at(at(trigger_mm), real_rad_);
    const Posture at_rest = posture_at(rest_mm, real_rad_);
    MotionRules rules;
    rules.ball_may_touch = true;
    if (MachineAnswer stop = check_leg(posture(), at_trigger, rules)) return stop;
    // From here on the stylus gives way to what it met, ball and shank in one; and where it met the stem
    // first, to the ball on it.
    rules.pressed_work = trigger.work;
    if (trigger.work >= 0) rules.pressed_artefact = checker_.work()[trigger.work].part_of;
    if (MachineAnswer stop = check_leg(at_trigger, at_rest, rules)) return stop;
  }
  recorder_.add_time(move_s(machine_, rest_mm - start_mm, {}, FeedRate{false, feed_mm_per_min}));
  shown_mm_ = rest_mm;
  tell_rest();
  note_touch(trigger, trip_mm, feed_mm_per_min);
  if (trigger.work < 0) return std::nullopt;
  return note_overtravel(ball().pressed_mm(trigger.work, posture()), trigger.work);
}

bool VirtualMachine::ball_is_free_at(const Posture& posture) const {
  for (std::size_t w = 0; w < checker_.work().size(); ++w) {
    if (ball().distance_mm(static_cast<int>(w), posture) <= 0.0) return false;
  }
  return true;
}

/// No trigger: the slides run to the target, with the stylus pressed when it met something.
MachineAnswer VirtualMachine::run_through(const Eigen::Vector3d& target_mm,
                                          const std::optional<Trigger>& missed,
                                          double feed_mm_per_min, ProbeEnd& end) {
  end.triggered = false;
  end.trip = shown_at(target_mm);
  MotionRules rules;
  if (missed) {
    rules.pressed_work = missed->work;
    rules.pressed_artefact = checker_.work()[missed->work].artefact;
  }
  const Posture from = posture();
  const Posture to = posture_at(target_mm, real_rad_);
  // One that ends a few um before it would have touched has hit nothing.
  rules.ball_may_touch = !missed && ball_is_free_at(to);
  if (MachineAnswer stop = check_leg(from, to, rules)) return stop;
  recorder_.add_time(move_s(machine_, target_mm - shown_mm_, {}, FeedRate{false, feed_mm_per_min}));
  shown_mm_ = target_mm;
  tell_rest();
  if (!missed) return std::nullopt;
  double deepest = 0.0;
  for (int k = 0; k <= press_samples; ++k) {
    const Posture at = between(from, to, static_cast<double>(k) / press_samples);
    deepest = std::max(deepest, ball().pressed_mm(missed->work, at));
  }
  return note_overtravel(deepest, missed->work);
}

MachineAnswer VirtualMachine::note_overtravel(double overtravel_mm, int work) {
  recorder_.overtravel(overtravel_mm);
  if (overtravel_mm <= options_.overtravel_limit_mm) return std::nullopt;
  const std::string text =
      fmt::format("the stylus is pressed {} into {}; {} is its limit",
                  length_text(overtravel_mm, machine_.inch, 2), checker_.work()[work].name,
                  round_length_text(options_.overtravel_limit_mm, machine_.inch));
  recorder_.violation(
      {ProblemNumber::probe_fault, ToolPart::stylus, checker_.work()[work].name, text, moment()});
  return Problem{
      ProblemNumber::probe_fault, text, {"", 0, 0}, "shorten the search distance of the plan"};
}

void VirtualMachine::note_touch(const Trigger& trigger, const Eigen::Vector3d& trip_mm,
                                double feed_mm_per_min) {
  RehearsedTouch touch;
  touch.body = trigger.work < 0 ? "nothing" : checker_.work()[trigger.work].name;
  touch.artefact = trigger.work < 0 ? -1 : checker_.work()[trigger.work].artefact;
  touch.moment = moment_at(posture_at(trip_mm, real_rad_));
  touch.moment.shown_mm = trip_mm - datum_mm_;
  touch.feed_mm_per_min = feed_mm_per_min;
  recorder_.touch(std::move(touch));
  warn_of_loose_axes();
}

/// A touch on an axis that has a clamp word and is not clamped says little: noted once per axis.
void VirtualMachine::warn_of_loose_axes() {
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const char letter = machine_.rotary[i].letter;
    const bool noted = loose_noted_.find(letter) != std::string::npos;
    if (noted || machine_.rotary[i].clamp.empty() || clamped_[i].value_or(false)) continue;
    loose_noted_ += letter;
    recorder_.note(fmt::format("a touch while {} is not clamped", letter));
  }
}

// ---- faults ------------------------------------------------------------------------------------

void VirtualMachine::move_artefacts() {
  recorder_.fault(fmt::format("every artefact sits {} elsewhere from here on",
                              round_length_text(moved_artefact_mm, machine_.inch)));
  for (ArtefactPlace& place : truth_.survey.state.artefacts) {
    place.point_mm += moved_artefact_mm * fault_direction;
  }
  std::vector<std::string> ignored;
  checker_ = MotionChecker(machine_, truth_.survey.state,
                           tool_solids(machine_, truth_.survey.state, ignored),
                           work_solids(machine_, truth_.survey.state));
  turn_spindle_to(deg_from_rad(spindle_rad_));
}

// ---- words -------------------------------------------------------------------------------------

Moment VirtualMachine::moment_at(const Posture& posture) const {
  Moment moment;
  moment.line = recorder_.line();
  moment.real_mm = posture.shown_mm;
  moment.real_rad = posture.angles_rad;
  // Back to what the control shows: the real position less this machine's errors here.
  moment.shown_mm = shown_mm_ + (posture.shown_mm - this->posture().shown_mm) - datum_mm_;
  moment.commanded_rad = commanded_rad_;
  for (std::size_t i = 0; i < moment.commanded_rad.size(); ++i) {
    moment.commanded_rad[i] += posture.angles_rad[i] - real_rad_[i];
  }
  moment.spindle_rad = spindle_rad_;
  return moment;
}

ToolPart VirtualMachine::part_of(const Nearness& nearness) const {
  return checker_.tool()[nearness.tool].part;
}

std::string VirtualMachine::body_name(const Nearness& nearness) const {
  return checker_.work()[nearness.work].name;
}

void VirtualMachine::note_violation(ProblemNumber number, const Nearness& nearness,
                                    const std::string& text, const Moment& moment) {
  recorder_.violation({number, part_of(nearness), body_name(nearness), text, moment});
}

}  // namespace pivotrace::rehearsal

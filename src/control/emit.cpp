#include "pivotrace/control/emit.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "base/cautions.h"
#include "control/overwritten_variables.h"
#include "control/program_text.h"
#include "control/request_text.h"
#include "control/speller.h"
#include "pivotrace/base/length.h"

namespace pivotrace {

namespace {

/// A guarded move that ends further than this from its target [mm] has met something; a skip move
/// that ends nearer than this to its target has met nothing. Common practice, no source.
constexpr double arrived_mm = 0.01;

constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};

/// First branch target of alarms; branches inside the cycle count from 1.
constexpr int first_alarm_label = 901;

struct Alarm {
  std::string text;
  Retreat retreat = Retreat::up;
  bool log_open = false;  ///< the touch record is closed before the program ends
  int label = 0;
};

using Targets = std::array<std::optional<Value>, 3>;

bool is_simple(const Value& value) {
  return std::holds_alternative<NumberNode>(value.node()) ||
         std::holds_alternative<VariableNode>(value.node());
}

/// By a jump to an alarm or by a line of its own; a root of a negative number is no such stop.
bool stops_on_condition(const ControlSheet& sheet) {
  return sheet.branches.can_jump() || !sheet.stops.demand.empty();
}

/// Where no check can stop the program, the operator looks at what it worked out.
bool leaves_checks_to_operator(const ControlSheet& sheet) {
  return !stops_on_condition(sheet) && !sheet.stops.root_of_negative_stops;
}

/// What a watched move met something on.
std::string met_on_the_way(Retreat retreat) {
  switch (retreat) {
    case Retreat::back_across: return "stylus met something on the way across";
    case Retreat::back_over: return "stylus met something beside the artefact";
    case Retreat::back_round: return "stylus met something on the way round";
    case Retreat::none:
    case Retreat::up:
    case Retreat::out_of_a_touch: break;
  }
  return "stylus met something on the way in";
}

/// How the program gets from machine to program coordinates.
enum class ShiftSource {
  not_needed,
  own_offset,  ///< zeros in a work offset of its own
  positions,   ///< the difference of the two positions the control tells
  none,        ///< it cannot
};

ShiftSource shift_source(const ControlSheet& sheet) {
  const bool needed = sheet.skip.target == Coordinates::program ||
                      (trip_source(sheet) == TripSource::variables &&
                       sheet.skip.trip_point == Coordinates::program) ||
                      !sheet.motion.machine_coordinates_at_feed;
  if (!needed) return ShiftSource::not_needed;
  if (sheet.offsets.own_system > 0) return ShiftSource::own_offset;
  const PositionRules& position = sheet.position;
  const bool tells = std::all_of(linear_letters.begin(), linear_letters.end(), [&](char letter) {
    return position.machine_position.contains(letter) && position.program_position.contains(letter);
  });
  return tells ? ShiftSource::positions : ShiftSource::none;
}

Meaning work_offset_meaning(int system) {
  return static_cast<Meaning>(static_cast<int>(Meaning::work_offset_1) + system - 1);
}

class Emitter {
 public:
  Emitter(const ControlProgram& program, const ControlSheet& sheet)
      : program_(with_helpers(program, sheet)),
        sheet_(sheet),
        numbers_(program_, sheet),
        speller_(sheet_, numbers_, program.inch),
        out_(sheet_, speller_),
        shift_(shift_source(sheet)) {}

  Expected<EmittedProgram> run();

 private:
  static ControlProgram with_helpers(const ControlProgram& program, const ControlSheet& sheet);

  // Text.
  void raw_line(const std::string& text) { out_.raw_line(text); }
  void block(const std::string& text) { out_.block(text); }
  void remark(const std::string& text) { out_.remark(text); }
  void refuse(const std::string& what, const std::string& advice) { out_.refuse(what, advice); }

  // Parts of the program.
  void check_arithmetic();
  void write_head();
  void write_cautions();
  void write_plain_units();
  void write_moving_program();
  void write_offset_program();
  void write_contents_stop();
  void count_what_they_hold(const std::vector<VariableRange>& ranges);
  void write_setup();
  void write_proof_stop();
  void write_refusals();
  void refuse_state(const Refusal& refusal, const std::string& variable);
  void write_shift();
  void write_own_offset();
  void write_result_heading();
  void write_alarms();
  void end_with_alarm(const std::string& what, int number);
  void write_steps(const Steps& steps);

  // Steps.
  void write(const RemarkStep& step);
  void write(const AssignStep& step);
  void write(const MoveStep& step);
  void write(const SkipStep& step);
  void write(const TurnStep& step);
  void write(const ClampStep& step);
  void write(const StandsAtStep& step);
  void write(const SpindleStep& step);
  void write(const LogStep& step);
  void write(const LogFileStep& step);
  void write(const OperatorStopStep& step);
  void write(const DemandStep& step) { demand(step.condition, step.alarm, step.retreat); }
  void write(const WhileStep& step);
  void write(const IfStep& step);
  void write(const SetOffsetStep& step);

  // Helpers of steps.
  void assign(const std::string& target, const Value& value, const std::string& note,
              int depth = 0);
  Value in_machine_coordinates(const Value& value) const;
  Value simplified(const Value& value, const std::string& helper);
  Targets in_program_coordinates(const Targets& targets);
  std::string axis_words(const Targets& targets) const;
  std::string feed_word(const Value& feed) const;
  void forget_typed(const Targets& targets);
  void skip_block(const Targets& targets, const Value& feed);
  Value distance_to(const Targets& targets) const;
  void plain_move(const MoveStep& step);
  void guarded_move(const MoveStep& step);
  std::optional<Value> position_now(char letter) const;
  void skip_from_here(const SkipStep& step);
  void skip_incremental(const SkipStep& step);
  void demand_trigger(const SkipStep& step, const Targets& targets);
  void demand_start(const SkipStep& step);
  void demand(const Condition& condition, const std::string& alarm, Retreat retreat);
  Value room_of(const Condition& condition);
  void demand_by_root(const Condition& condition);
  void demand_by_operator(const Condition& condition, const std::string& alarm);
  int alarm_label(const std::string& text, Retreat retreat);
  std::string filled_with_text(const std::string& form, std::map<std::string, std::string> values,
                               const std::string& text) const;
  bool fits_stop(const std::string& text) const;
  int log_decimals(NumberKind kind) const;
  void log_statement(const std::vector<std::string>& items);
  std::string log_value(const Value& value, int decimals);
  std::string log_text(const std::string& text) const;
  void store_touch(const LogStep& step);
  std::string word(Meaning meaning);
  bool can_watch() const { return watches_positioning(sheet_); }

  ControlProgram program_;
  const ControlSheet& sheet_;
  VariableNumbers numbers_;
  Speller speller_;
  control::ProgramText out_;
  ShiftSource shift_ = ShiftSource::not_needed;
  int loop_level_ = 0;
  int next_label_ = 1;
  bool log_open_ = false;
  std::vector<Alarm> alarms_;
};

std::string shift_name(int axis) {
  return std::string("machine minus program, ") + linear_letters[axis];
}
std::string typed_name(int axis) { return std::string("typed ") + linear_letters[axis]; }
std::string target_name(int axis) { return std::string("target ") + linear_letters[axis]; }
std::string part_name(int depth) { return "part result " + std::to_string(depth + 1); }

constexpr int part_results = 4;

ControlProgram Emitter::with_helpers(const ControlProgram& program, const ControlSheet& sheet) {
  ControlProgram extended = program;
  if (program.kind == ProgramKind::offsets) return extended;
  for (int axis = 0; axis < 3; ++axis) extended.variables.push_back({shift_name(axis), 0});
  for (int axis = 0; axis < 3; ++axis) extended.variables.push_back({target_name(axis), 0});
  for (int axis = 0; axis < 3 && trip_source(sheet) == TripSource::typed; ++axis) {
    extended.variables.push_back({typed_name(axis), 0});
  }
  const int parts = sheet.text.max_line_length > 0 ? part_results : 0;
  for (int depth = 0; depth < parts; ++depth) extended.variables.push_back({part_name(depth), 0});
  if (control::can_count_contents(sheet)) {
    for (const char* name : control::counting_variables) extended.variables.push_back({name, 0});
  }
  extended.variables.push_back({"check", 0});
  return extended;
}

std::string Emitter::word(Meaning meaning) {
  std::string text = sheet_.word(meaning);
  if (!text.empty()) return text;
  const std::string slot = "words." + key_of(meaning);
  if (sheet_.is_open(slot)) {
    refuse("leaves `" + slot + "` open, and this program needs it", "fill it in from the manual");
  } else {
    refuse("has no word for " + key_of(meaning), "add it under [words] if the control has one");
  }
  return text;
}

/// What every program needs to count with.
void Emitter::check_arithmetic() {
  const ExpressionRules& rules = sheet_.expressions;
  const auto need = [&](bool known, const std::string& slot) {
    if (!known) refuse("does not say how " + slot + " is spelled", "fill it in from the manual");
  };
  for (const Operator op :
       {Operator::add, Operator::subtract, Operator::multiply, Operator::divide}) {
    need(rules.operators.contains(op), "expressions.operators." + key_of(op));
  }
  for (const Function function :
       {Function::sine, Function::cosine, Function::square_root, Function::absolute}) {
    need(rules.functions.contains(function), "expressions.functions." + key_of(function));
  }
  if (sheet_.branches.can_jump() || sheet_.branches.can_loop() || !sheet_.stops.demand.empty()) {
    for (const Comparison comparison : {Comparison::less, Comparison::less_equal,
                                        Comparison::greater, Comparison::greater_equal}) {
      need(rules.comparisons.contains(comparison), "expressions.comparisons." + key_of(comparison));
    }
  }
  need(!sheet_.assignment.form.empty(), "assignment.form");
  need(sheet_.log.available() || sheet_.variables.results, "log.begin or variables.results");
}

void Emitter::write_head() {
  for (const std::string& line : sheet_.program_start) {
    raw_line(fill_form(line, {{"number", std::to_string(program_.program_number)},
                              {"title", speller_.plain_text(program_.title)}}));
  }
  remark(program_.title);
  if (sheet_.invented) remark("FOR AN INVENTED CONTROL: no machine reads this program");
  if (program_.simulated) remark(simulated_notice);
  for (const std::string& line : program_.header) remark(line);
}

/// What this control cannot do, and what the program takes for itself.
void Emitter::write_cautions() {
  if (!can_watch()) {
    remark(
        "CAUTION: this control cannot watch the probe while it positions: moves between touches "
        "stop for nothing. Clear the table of everything that is not in the machine file.");
  }
  if (!sheet_.branches.can_jump()) {
    remark(
        "CAUTION: this control stops where it stands when a check fails: retract by hand, back "
        "the way the stylus came.");
    if (leaves_checks_to_operator(sheet_)) {
      remark(
          "CAUTION: this control cannot stop by a check: after each check the program waits and "
          "the operator looks at a variable. Start again only if it is not below 0.");
    } else if (sheet_.stops.demand.empty()) {
      remark("An alarm about the square root of a negative number means that a check failed.");
    }
  }
  if (shift_ == ShiftSource::own_offset) {
    remark(
        fmt::format("CAUTION: writes zeros into work offset {} and leaves it in force: write down "
                    "what it holds first, and select your own afterwards.",
                    sheet_.offsets.own_system));
  }
  if (program_.clamps && !sheet_.motion.clamp_words) {
    remark("CAUTION: this program does not clamp or unclamp rotary axes; the machine must do it.");
  }
}

/// Shops keep their own numbers in variables, some of them over power-off: before the first is
/// overwritten the operator is told which, and shown what they hold where the control can.
void Emitter::write_contents_stop() {
  const std::vector<VariableRange> ranges = control::overwritten(program_, sheet_, numbers_);
  const std::string which = "overwrites variables " + control::ranges_text(ranges);
  if (!control::can_count_contents(sheet_)) {
    return write(OperatorStopStep{told({"this program " + which +
                                        ": look now what they hold, write down what you need, then "
                                        "start"})});
  }
  remark("CAUTION: " + which + ": note first what you need of what the next stops show.");
  std::vector<RequestPart> text = {"now"};
  for (const char* name : control::counting_variables) {
    text.insert(text.end(), {" ", NamedVariable{name}, " is ", ShownVariable{name}});
  }
  write(OperatorStopStep{told(std::move(text))});
  count_what_they_hold(ranges);
}

void Emitter::count_what_they_hold(const std::vector<VariableRange>& ranges) {
  const auto [count_name, first_name, which_name, content_name] = control::counting_variables;
  const Variable held{count_name}, first{first_name}, which{which_name}, content{content_name};
  const auto set = [](const Variable& to, const Value& value) {
    return Step{AssignStep{to, value, ""}};
  };
  write_steps({set(held, count(0)), set(first, count(0))});
  const std::string here = control::variable_at(sheet_, speller_.variable(which.name));
  for (const VariableRange& range : ranges) {
    write_steps({set(which, count(range.first - 1))});
    const std::string level = std::to_string(++loop_level_);
    block(fill_form(
        sheet_.branches.while_begin,
        {{"condition", speller_.condition({Value(which), Comparison::less, count(range.last)})},
         {"level", level}}));
    write_steps({set(which, Value(which) + count(1))});
    block(fill_form(sheet_.assignment.form,
                    {{"variable", speller_.variable(content.name)}, {"value", here}}));
    const Condition new_one{Value(first), Comparison::less, count(1)};
    write_steps({Step{
        IfStep{{absolute(content), Comparison::greater, Value(0.0)},
               {Step{IfStep{new_one, {set(first, which)}}}, set(held, Value(held) + count(1))}}}});
    block(fill_form(sheet_.branches.while_end, {{"level", level}}));
    --loop_level_;
  }
  write_steps({Step{IfStep{{Value(held), Comparison::greater, count(0)},
                           {Step{OperatorStopStep{told({ShownVariable{held.name},
                                                        " others are not 0, the first is number ",
                                                        ShownVariable{first.name}})}}}}}});
}

/// A sheet the control has not proven itself may be wrong anywhere.
void Emitter::write_proof_stop() {
  if (sheet_.is_proven()) return;
  write(OperatorStopStep{told(
      {"NOT PROVEN: the control sheet of this program was not proven on this control. Prove it "
       "first, or compare every kind of line here with the manual; else do not start"})});
}

void Emitter::write_refusals() {
  if (sheet_.refusals.empty()) return;
  std::string ask;
  bool heading = false;
  for (const Refusal& refusal : sheet_.refusals) {
    const auto number = sheet_.position.modal_variable.find(refusal.group);
    if (number == sheet_.position.modal_variable.end() || refusal.allowed.empty() ||
        !sheet_.branches.can_jump()) {
      ask += (ask.empty() ? "" : "; ") + refusal.text;
      continue;
    }
    if (!heading) remark("refuse a control that is not in its plain state");
    heading = true;
    refuse_state(refusal, speller_.variable(number->second));
  }
  // What the control cannot be asked, the operator is.
  if (!ask.empty()) {
    write(
        OperatorStopStep{told({"look at the screen of the control and start only if none of this "
                               "holds: " +
                               ask})});
  }
}

void Emitter::refuse_state(const Refusal& refusal, const std::string& variable) {
  const auto& signs = sheet_.expressions.comparisons;
  const std::string target = std::to_string(alarm_label(refusal.text, Retreat::none));
  const auto jump = [&](int allowed, Comparison comparison, const std::string& label) {
    const std::string condition =
        variable + " " + signs.at(comparison) + " " + speller_.number(allowed, NumberKind::count);
    block(fill_form(sheet_.branches.jump_if, {{"condition", condition}, {"label", label}}));
  };
  if (refusal.allowed.size() == 1) {
    return jump(refusal.allowed[0], Comparison::not_equal, target);
  }
  const std::string past = std::to_string(next_label_++);
  for (const int allowed : refusal.allowed) jump(allowed, Comparison::equal, past);
  block(fill_form(sheet_.branches.jump, {{"label", target}}));
  block(fill_form(sheet_.branches.label, {{"label", past}}));
}

void Emitter::write_setup() {
  remark("plain state: nothing that bends, turns, scales or shifts a move");
  block(word(program_.inch ? Meaning::inches : Meaning::millimetres));
  for (const auto& line : sheet_.setup) {
    std::string words;
    for (const Meaning meaning : line) {
      if (sheet_.is_open("words." + key_of(meaning))) continue;
      words += (words.empty() ? "" : " ") + word(meaning);
    }
    if (!words.empty()) block(words);
  }
}

void Emitter::write_shift() {
  if (shift_ == ShiftSource::own_offset) return write_own_offset();
  if (shift_ == ShiftSource::not_needed) return;
  remark("machine coordinates minus program coordinates, now");
  for (int axis = 0; axis < 3; ++axis) {
    const char letter = linear_letters[axis];
    if (shift_ == ShiftSource::none) {
      refuse(
          std::string("cannot tell machine from program coordinates of ") + letter,
          "give `machine_position` and `program_position` under [position], or `own_system` under "
          "[offsets]");
      return;
    }
    assign(speller_.variable(shift_name(axis)),
           machine_value(MachineValue::machine_minus_program, letter), "");
  }
}

/// Nothing is read that the control may keep in other units than the program's: with zeros in its
/// own work offset, program coordinates are machine coordinates.
void Emitter::write_own_offset() {
  const int system = sheet_.offsets.own_system;
  remark(
      fmt::format("work offset {} is this program's own: zeros, so that program coordinates "
                  "are machine coordinates",
                  system));
  SetOffsetStep zeros;
  zeros.system = system;
  zeros.origin = {length(0.0), length(0.0), length(0.0)};
  write(zeros);
  block(word(work_offset_meaning(system)));
}

void Emitter::write_result_heading() {
  if (sheet_.log.available()) return;
  const VariableRange& range = *sheet_.variables.results;
  if (range.count() < 2 + 3 * program_.record_lines) {
    refuse(fmt::format("has {} result variables, and {} touches need {}", range.count(),
                       program_.record_lines, 2 + 3 * program_.record_lines),
           "plan fewer touches, or widen `results` under [variables]");
    return;
  }
  remark(fmt::format("touches are left in variables {} to {}", range.first,
                     range.first + 1 + 3 * program_.record_lines));
  block(fill_form(sheet_.assignment.form,
                  {{"variable", speller_.variable(range.first)},
                   {"value", speller_.number(program_.identity_number, NumberKind::count)}}));
  block(fill_form(sheet_.assignment.form, {{"variable", speller_.variable(range.first + 1)},
                                           {"value", speller_.number(0, NumberKind::count)}}));
}

void Emitter::write_steps(const Steps& steps) {
  for (const Step& step : steps) {
    std::visit([&](const auto& what) { write(what); }, step.what);
  }
}

void Emitter::write(const RemarkStep& step) {
  if (step.heading) raw_line("");
  remark(step.text);
}

/// Sets a variable; a value too long for one line is worked out in parts first.
void Emitter::assign(const std::string& target, const Value& value, const std::string& note,
                     int depth) {
  const std::string text = fill_form(sheet_.assignment.form,
                                     {{"variable", target}, {"value", speller_.assigned(value)}});
  const int limit = sheet_.text.max_line_length;
  const auto* binary = std::get_if<BinaryNode>(&value.node());
  const auto* unary = std::get_if<UnaryNode>(&value.node());
  const bool too_long = limit > 0 && static_cast<int>(text.size()) + 8 > limit;
  if (!too_long || depth >= part_results || (binary == nullptr && unary == nullptr)) {
    return out_.noted(text, note);
  }
  const Variable part{part_name(depth)};
  if (unary != nullptr) {
    assign(speller_.variable(part.name), *unary->argument, note, depth);
    return assign(target, Value(UnaryNode{unary->function, std::make_shared<const Value>(part)}),
                  "", depth + 1);
  }
  assign(speller_.variable(part.name), *binary->left, note, depth);
  Value right = *binary->right;
  if (!is_simple(right)) {
    const Variable other{part_name(std::min(depth + 1, part_results - 1))};
    assign(speller_.variable(other.name), right, "", depth + 1);
    right = other;
  }
  assign(target,
         Value(BinaryNode{binary->op, std::make_shared<const Value>(part),
                          std::make_shared<const Value>(right)}),
         "", part_results);
}

void Emitter::write(const AssignStep& step) {
  const std::string target = std::holds_alternative<Variable>(step.target)
                                 ? speller_.variable(std::get<Variable>(step.target).name)
                                 : speller_.element(std::get<ElementNode>(step.target));
  assign(target, in_machine_coordinates(step.value), step.note);
}

/// The trip point as steps mean it: machine coordinates, whatever the control keeps.
Value Emitter::in_machine_coordinates(const Value& value) const {
  const auto* node = std::get_if<MachineValueNode>(&value.node());
  if (node == nullptr || node->what != MachineValue::trip_point) return value;
  const int axis = node->letter - 'X';
  switch (trip_source(sheet_)) {
    case TripSource::position: return machine_value(MachineValue::machine_position, node->letter);
    case TripSource::typed: return Variable{typed_name(axis)};
    case TripSource::variables: break;
  }
  const bool shift =
      sheet_.skip.trip_point == Coordinates::program && shift_ == ShiftSource::positions;
  return shift ? value + Variable{shift_name(axis)} : value;
}

Value Emitter::simplified(const Value& value, const std::string& helper) {
  if (is_simple(value)) return value;
  assign(speller_.variable(helper), value, "");
  return Variable{helper};
}

std::string Emitter::axis_words(const Targets& targets) const {
  std::string text;
  for (int axis = 0; axis < 3; ++axis) {
    if (!targets[axis]) continue;
    text += std::string(" ") + linear_letters[axis] + speller_.after_letter(*targets[axis]);
  }
  return text;
}

std::string Emitter::feed_word(const Value& feed) const {
  return " F" + speller_.after_letter(feed);
}

Targets Emitter::in_program_coordinates(const Targets& targets) {
  Targets shifted;
  for (int axis = 0; axis < 3; ++axis) {
    if (!targets[axis]) continue;
    const bool shift = shift_ == ShiftSource::positions;
    shifted[axis] = simplified(shift ? *targets[axis] - Variable{shift_name(axis)} : *targets[axis],
                               target_name(axis));
  }
  return shifted;
}

/// Sum of the distances along X, Y, Z between the trip point and the targets of the skip move.
Value Emitter::distance_to(const Targets& targets) const {
  const bool alike =
      trip_source(sheet_) == TripSource::variables && sheet_.skip.trip_point == sheet_.skip.target;
  const bool shifted =
      sheet_.skip.target == Coordinates::program && shift_ == ShiftSource::positions;
  Value sum;
  for (int axis = 0; axis < 3; ++axis) {
    if (!targets[axis]) continue;
    const Value trip = machine_value(MachineValue::trip_point, linear_letters[axis]);
    const Value target =
        !alike && shifted ? *targets[axis] + Variable{shift_name(axis)} : *targets[axis];
    sum = sum + absolute((alike ? trip : in_machine_coordinates(trip)) - target);
  }
  return sum;
}

/// Whoever starts again without having typed has met nothing, and the program says so: what was typed at
/// the touch before does not count twice.
void Emitter::forget_typed(const Targets& targets) {
  if (trip_source(sheet_) != TripSource::typed) return;
  for (int axis = 0; axis < 3; ++axis) {
    if (targets[axis]) assign(speller_.variable(typed_name(axis)), *targets[axis], "");
  }
}

void Emitter::skip_block(const Targets& targets, const Value& feed) {
  if (!sheet_.skip.feed_in_same_block) {
    refuse("sets no feed in the block of a skip move", "set `feed_in_same_block = true`");
  }
  block(word(Meaning::skip) + axis_words(targets) + feed_word(feed));
  if (trip_source(sheet_) != TripSource::typed) return;
  write(OperatorStopStep{type_position_request({typed_name(0), typed_name(1), typed_name(2)})});
}

void Emitter::plain_move(const MoveStep& step) {
  const bool rapid = step.kind == MoveKind::rapid;
  const std::string in_machine = sheet_.word(Meaning::machine_coordinates);
  const std::string motion = word(rapid ? Meaning::rapid : Meaning::feed);
  const std::string feed = rapid ? std::string() : feed_word(step.feed);
  Targets targets = step.to;
  if (sheet_.skip.target == Coordinates::machine) {
    return block(motion + axis_words(targets) + feed);
  }
  if (!in_machine.empty() && (rapid || sheet_.motion.machine_coordinates_at_feed)) {
    return block(in_machine + " " + motion + axis_words(targets) + feed);
  }
  block(motion + axis_words(in_program_coordinates(targets)) + feed);
}

/// A skip move that must not trigger, and a look whether it did.
void Emitter::guarded_move(const MoveStep& step) {
  const Targets targets =
      sheet_.skip.target == Coordinates::program ? in_program_coordinates(step.to) : step.to;
  skip_block(targets, step.feed);
  demand({distance_to(targets), Comparison::less_equal, length(arrived_mm)},
         met_on_the_way(step.retreat), step.retreat);
}

void Emitter::write(const MoveStep& step) {
  if (step.kind == MoveKind::guarded && can_watch()) return guarded_move(step);
  plain_move(step);
}

/// Where the machine stands, as the targets of a skip move count; nothing when it cannot be read.
std::optional<Value> Emitter::position_now(char letter) const {
  const bool in_program =
      sheet_.skip.target == Coordinates::program && shift_ == ShiftSource::positions;
  const auto& known =
      in_program ? sheet_.position.program_position : sheet_.position.machine_position;
  if (!known.contains(letter)) return std::nullopt;
  return machine_value(in_program ? MachineValue::program_position : MachineValue::machine_position,
                       letter);
}

/// The first find starts from a place only the operator knows.
void Emitter::skip_from_here(const SkipStep& step) {
  Targets targets;
  bool can_tell = true;
  for (int axis = 0; axis < 3; ++axis) {
    if (!step.to[axis]) continue;
    const std::optional<Value> now = position_now(linear_letters[axis]);
    can_tell = can_tell && now;
    if (!can_tell) break;
    assign(speller_.variable(target_name(axis)), *now + *step.to[axis], "");
    targets[axis] = Variable{target_name(axis)};
  }
  if (!can_tell) return skip_incremental(step);
  forget_typed(targets);
  skip_block(targets, step.feed);
  if (can_watch()) {
    demand({distance_to(targets), Comparison::greater, length(arrived_mm)}, step.untriggered,
           step.retreat);
  } else if (sheet_.skip.untriggered != WhenUntriggered::stops_with_error) {
    write(OperatorStopStep{look_for_trigger_request()});
  }
}

void Emitter::skip_incremental(const SkipStep& step) {
  if (sheet_.word(Meaning::incremental).empty()) {
    return refuse(
        "cannot start from a jogged position: it neither tells its position nor moves by "
        "increments",
        "plan without self-finding, or describe [position]");
  }
  block(word(Meaning::incremental));
  skip_block(step.to, step.feed);
  block(word(Meaning::absolute));
  if (sheet_.skip.untriggered != WhenUntriggered::stops_with_error) {
    write(OperatorStopStep{look_for_trigger_request()});
  }
}

/// Stops unless the skip move has met something.
void Emitter::demand_trigger(const SkipStep& step, const Targets& targets) {
  if (sheet_.skip.untriggered == WhenUntriggered::stops_with_error) return;
  if (!stops_on_condition(sheet_)) return write(OperatorStopStep{look_for_trigger_request()});
  demand({distance_to(targets), Comparison::greater, length(arrived_mm)}, step.untriggered,
         step.retreat);
}

/// Stops when the skip move ended where it began: the probe was triggered before.
void Emitter::demand_start(const SkipStep& step) {
  if (!step.start || sheet_.skip.triggered_at_start_is_error || !stops_on_condition(sheet_)) return;
  Value moved;
  for (int axis = 0; axis < 3; ++axis) {
    const Value trip =
        in_machine_coordinates(machine_value(MachineValue::trip_point, linear_letters[axis]));
    moved = moved + absolute(trip - (*step.start)[axis]);
  }
  demand({moved, Comparison::greater, length(10.0 * arrived_mm)}, step.early, step.retreat);
}

void Emitter::write(const SkipStep& step) {
  if (step.from_here) return skip_from_here(step);
  const bool in_program = sheet_.skip.target == Coordinates::program;
  const Targets targets = in_program ? in_program_coordinates(step.to) : step.to;
  forget_typed(targets);
  skip_block(targets, step.feed);
  demand_trigger(step, targets);
  demand_start(step);
}

void Emitter::write(const TurnStep& step) {
  if (sheet_.axis_letters.find(step.axis) == std::string::npos) {
    refuse(std::string("moves no axis ") + step.axis,
           "add the letter to `axis_letters` if the control has it");
  }
  const std::string in_machine = sheet_.word(Meaning::machine_coordinates);
  const bool plain = in_machine.empty() || sheet_.skip.target == Coordinates::machine;
  block((plain ? std::string() : in_machine + " ") + word(Meaning::rapid) + " " + step.axis +
        speller_.after_letter(step.to_deg));
}

void Emitter::write(const ClampStep& step) {
  if (!step.word.empty() && sheet_.motion.clamp_words) block(step.word);
}

void Emitter::write(const StandsAtStep& step) {
  /// Sine of half the angle an axis may be off, a tenth of a degree: common practice, no source.
  constexpr double sine_of_half = 0.001;
  if (!sheet_.position.machine_position.contains(step.axis) || !stops_on_condition(sheet_)) return;
  const Value off = machine_value(MachineValue::machine_position, step.axis) - step.at_deg;
  demand({absolute(sine(off / Value(2.0))), Comparison::less_equal, Value(sine_of_half)},
         step.alarm, Retreat::none);
}

void Emitter::write(const SpindleStep& step) {
  if (!step.orient_deg) {
    if (!sheet_.word(Meaning::spindle_stop).empty()) block(word(Meaning::spindle_stop));
    return;
  }
  if (!sheet_.spindle.orient_form.empty()) {
    return block(fill_form(sheet_.spindle.orient_form,
                           {{"degrees", speller_.number(*step.orient_deg, NumberKind::angle)}}));
  }
  write(OperatorStopStep{spindle_request(*step.orient_deg)});
}

std::string Emitter::log_text(const std::string& text) const {
  std::string written;
  for (const char c : speller_.plain_text(text)) {
    written += c == ' ' ? sheet_.log.space_in_text : std::string(1, c);
  }
  return fill_form(sheet_.log.text_item, {{"text", written}});
}

std::string Emitter::log_value(const Value& value, int decimals) {
  if (const auto* number = std::get_if<NumberNode>(&value.node())) {
    std::string text = speller_.number(number->number, number->kind);
    if (const std::size_t mark = text.find(sheet_.numbers.decimal_mark);
        mark != std::string::npos && !sheet_.numbers.decimal_mark.empty()) {
      text.replace(mark, sheet_.numbers.decimal_mark.size(), sheet_.log.decimal_mark);
    }
    return fill_form(sheet_.log.text_item, {{"text", text}});
  }
  const auto* variable = std::get_if<VariableNode>(&value.node());
  const auto* element = std::get_if<ElementNode>(&value.node());
  std::string written;
  if (variable != nullptr) {
    written = speller_.variable(variable->name);
  } else if (element != nullptr && element->index->number() != nullptr) {
    written = speller_.element(*element);
  } else {
    assign(speller_.variable("check"), value, "");
    written = speller_.variable("check");
  }
  return fill_form(sheet_.log.value_item, {{"variable", written},
                                           {"whole", std::to_string(sheet_.log.whole_digits)},
                                           {"decimals", std::to_string(decimals)}});
}

void Emitter::log_statement(const std::vector<std::string>& items) {
  std::string text = sheet_.log.begin;
  for (std::size_t i = 0; i < items.size(); ++i) text += (i == 0 ? "" : sheet_.log.join) + items[i];
  block(text + sheet_.log.end);
}

void Emitter::store_touch(const LogStep& step) {
  const int first = sheet_.variables.results->first;
  const double* number = step.number.number();
  if (number == nullptr) return refuse("leaves touches in variables and cannot loop", "");
  const int at = first + 2 + 3 * (static_cast<int>(*number) - 1);
  for (int axis = 0; axis < 3; ++axis) {
    assign(speller_.variable(at + axis), step.at[axis], "");
  }
  block(
      fill_form(sheet_.assignment.form, {{"variable", speller_.variable(first + 1)},
                                         {"value", speller_.number(*number, NumberKind::count)}}));
}

int Emitter::log_decimals(NumberKind kind) const {
  if (kind == NumberKind::count) return 0;
  return kind == NumberKind::length && program_.inch ? sheet_.log.decimals_inch
                                                     : sheet_.log.decimals;
}

void Emitter::write(const LogStep& step) {
  if (!sheet_.log.available()) return store_touch(step);
  std::vector<std::string> items;
  items.reserve(step.items.size());
  for (const RecordItem& item : step.items) {
    items.push_back(item.value ? log_value(*item.value, log_decimals(item.kind))
                               : log_text(item.text));
  }
  log_statement(items);
}

void Emitter::write(const LogFileStep& step) {
  if (!sheet_.log.available()) return;
  log_open_ = step.open;
  if (!step.open) {
    if (!sheet_.log.close_form.empty()) block(sheet_.log.close_form);
    return;
  }
  if (!sheet_.log.open_form.empty()) block(sheet_.log.open_form);
  std::vector<std::string> items;
  items.reserve(step.columns.size());
  for (const std::string& column : step.columns) items.push_back(log_text(column));
  log_statement(items);
}

bool Emitter::fits_stop(const std::string& text) const {
  const std::string& form = sheet_.stops.operator_stop;
  const int longest = sheet_.text.max_comment_length;
  return !form.empty() && out_.fits(fill_form(form, {{"text", text}})) &&
         (longest == 0 || static_cast<int>(text.size()) <= longest);
}

void Emitter::write(const OperatorStopStep& step) {
  const std::string& form = sheet_.stops.operator_stop;
  const control::RequestText request(sheet_, speller_);
  const std::string text = request.in_stop(step.request);
  if (fits_stop(text)) return block(fill_form(form, {{"text", text}}));
  raw_line("");  // the heading of a section is not part of what the operator is told
  for (const std::string& line : wrapped(request.in_remarks(step.request), out_.remark_width())) {
    raw_line(out_.remark_text(line));
  }
  if (form.empty()) return block(word(Meaning::program_stop));
  const std::string above = speller_.plain_text("see text above");
  const std::string with_values = above + request.values_beside(step.request);
  block(fill_form(form, {{"text", fits_stop(with_values) ? with_values : above}}));
}

/// Fills {text} with as much of the text as the line has room for.
std::string Emitter::filled_with_text(const std::string& form,
                                      std::map<std::string, std::string> values,
                                      const std::string& text) const {
  values["text"] = "";
  const int limit = sheet_.text.max_line_length;
  const int room = limit - static_cast<int>(fill_form(form, values).size()) - 8;
  const std::string plain = speller_.plain_text(text);
  values["text"] =
      limit == 0 ? plain : plain.substr(0, static_cast<std::size_t>(std::max(0, room)));
  return fill_form(form, values);
}

int Emitter::alarm_label(const std::string& text, Retreat retreat) {
  for (const Alarm& alarm : alarms_) {
    if (alarm.text == text && alarm.retreat == retreat && alarm.log_open == log_open_) {
      return alarm.label;
    }
  }
  const int label = first_alarm_label + static_cast<int>(alarms_.size());
  alarms_.push_back({text, retreat, log_open_, label});
  return label;
}

/// What is below 0 where the condition does not hold.
Value Emitter::room_of(const Condition& condition) {
  switch (condition.comparison) {
    case Comparison::less:
    case Comparison::less_equal: return condition.right - condition.left;
    case Comparison::greater:
    case Comparison::greater_equal: return condition.left - condition.right;
    case Comparison::equal:
    case Comparison::not_equal: break;
  }
  refuse("can only check for less and more", "describe [branches]");
  return {};
}

/// A root of a negative number is an error on this control: the only brake it has.
void Emitter::demand_by_root(const Condition& condition) {
  assign(speller_.variable("check"), square_root(room_of(condition)), "");
}

/// It has no brake at all: the operator looks at what was worked out, and starts again or not.
void Emitter::demand_by_operator(const Condition& condition, const std::string& alarm) {
  assign(speller_.variable("check"), room_of(condition), "");
  write(OperatorStopStep{look_at_value_request("check", alarm)});
}

void Emitter::demand(const Condition& condition, const std::string& alarm, Retreat retreat) {
  if (sheet_.branches.can_jump()) {
    const int label = alarm_label(alarm, retreat);
    return block(fill_form(sheet_.branches.jump_if, {{"condition", speller_.negated(condition)},
                                                     {"label", std::to_string(label)}}));
  }
  if (!sheet_.stops.demand.empty()) {
    const Condition simple = {simplified(condition.left, "check"), condition.comparison,
                              condition.right};
    return block(
        filled_with_text(sheet_.stops.demand, {{"condition", speller_.condition(simple)}}, alarm));
  }
  if (sheet_.stops.root_of_negative_stops) return demand_by_root(condition);
  demand_by_operator(condition, alarm);
}

void Emitter::write(const WhileStep& step) {
  if (!sheet_.branches.can_loop() || loop_level_ >= sheet_.branches.while_levels) {
    return refuse("cannot nest loops this deep", "");
  }
  const std::string level = std::to_string(++loop_level_);
  block(fill_form(sheet_.branches.while_begin,
                  {{"condition", speller_.condition(step.condition)}, {"level", level}}));
  write_steps(step.body);
  block(fill_form(sheet_.branches.while_end, {{"level", level}}));
  --loop_level_;
}

void Emitter::write(const IfStep& step) {
  if (!sheet_.branches.can_jump()) return refuse("has no branches", "");
  const std::string label = std::to_string(next_label_++);
  block(fill_form(sheet_.branches.jump_if,
                  {{"condition", speller_.negated(step.condition)}, {"label", label}}));
  write_steps(step.then);
  block(fill_form(sheet_.branches.label, {{"label", label}}));
}

void Emitter::write(const SetOffsetStep& step) {
  const OffsetRules& rules = sheet_.offsets;
  if (rules.form.empty() || step.system < rules.first_system || step.system > rules.last_system) {
    return refuse(fmt::format("cannot set work offset {}", step.system),
                  fmt::format("choose {} to {}, or describe [offsets]", rules.first_system,
                              rules.last_system));
  }
  std::string axes = axis_words(step.origin);
  if (!axes.empty()) axes.erase(0, 1);
  block(fill_form(rules.form, {{"system", std::to_string(step.system)}, {"axes", axes}}));
}

void Emitter::write_alarms() {
  if (alarms_.empty()) return;
  raw_line("");
  remark("alarms: retract the way it came, then stop");
  // Writing a retract may need no further alarm; take the list as it is now.
  const std::vector<Alarm> alarms = alarms_;
  int number = sheet_.stops.alarm_numbers.first;
  for (const Alarm& alarm : alarms) {
    block(fill_form(sheet_.branches.label, {{"label", std::to_string(alarm.label)}}));
    if (alarm.retreat != Retreat::none) write_steps(program_.retreats.at(alarm.retreat));
    if (alarm.log_open && !sheet_.log.close_form.empty()) block(sheet_.log.close_form);
    end_with_alarm(alarm.text, number);
    number = std::min(number + 1, sheet_.stops.alarm_numbers.last);
  }
}

/// A control without an alarm of its own: the operator is told, then the program ends.
void Emitter::end_with_alarm(const std::string& what, int number) {
  if (sheet_.stops.alarm.empty()) {
    write(OperatorStopStep{told({"the program ends here: " + what})});
    return block(word(Meaning::program_end));
  }
  std::string text = speller_.plain_text(what);
  if (sheet_.stops.max_alarm_text > 0) text = text.substr(0, sheet_.stops.max_alarm_text);
  block(fill_form(sheet_.stops.alarm, {{"number", std::to_string(number)}, {"text", text}}));
}

/// The units alone, and absolute: in increments some controls add to an old offset.
void Emitter::write_plain_units() {
  const std::string absolute = sheet_.word(Meaning::absolute);
  block((absolute.empty() ? std::string() : absolute + " ") +
        word(program_.inch ? Meaning::inches : Meaning::millimetres));
}

void Emitter::write_moving_program() {
  check_arithmetic();
  if (!out_.problems().empty()) return;
  write_head();
  if (program_.kind != ProgramKind::proof) {
    write_cautions();
    write_proof_stop();
  }
  write_contents_stop();
  write_refusals();
  write_setup();
  write_shift();
  write_result_heading();
  write_steps(program_.steps);
  block(word(Meaning::program_end));
  write_alarms();
}

void Emitter::write_offset_program() {
  write_head();
  write_proof_stop();
  write_plain_units();
  write_steps(program_.steps);
  block(word(Meaning::program_end));
}

Expected<EmittedProgram> Emitter::run() {
  if (!numbers_.fits()) {
    refuse(fmt::format("has too few variables: this program needs {}", numbers_.needed()),
           "plan fewer stations or touches, or widen `working` and `table` under [variables]");
    return tl::make_unexpected(out_.problems());
  }
  if (program_.kind == ProgramKind::offsets) {
    write_offset_program();
  } else {
    write_moving_program();
  }
  for (const std::string& line : sheet_.program_end) raw_line(line);
  if (!out_.problems().empty()) return tl::make_unexpected(out_.problems());
  const int blocks = out_.blocks();
  EmittedProgram emitted{out_.take(), blocks, numbers_.all(), std::nullopt, {}};
  if (program_.kind != ProgramKind::offsets) {
    emitted.overwritten = control::overwritten(program_, sheet_, numbers_);
  }
  if (program_.kind != ProgramKind::offsets && !sheet_.log.available()) {
    const int first = sheet_.variables.results->first;
    emitted.results = ResultVariables{first, first + 1, first + 2};
  }
  return emitted;
}

}  // namespace

double rounding_bound_mm(const ControlSheet& sheet, bool inch) {
  return inch ? 0.5 * std::pow(10.0, -sheet.numbers.decimals_inch) * mm_per_inch
              : 0.5 * std::pow(10.0, -sheet.numbers.decimals_mm);
}

TripSource trip_source(const ControlSheet& sheet) {
  const auto tells_all = [](const std::map<char, int>& numbers) {
    return std::all_of(linear_letters.begin(), linear_letters.end(),
                       [&](char letter) { return numbers.contains(letter); });
  };
  if (tells_all(sheet.skip.trip_variable)) return TripSource::variables;
  return tells_all(sheet.position.machine_position) ? TripSource::position : TripSource::typed;
}

bool watches_positioning(const ControlSheet& sheet) {
  return sheet.skip.untriggered == WhenUntriggered::goes_on && stops_on_condition(sheet) &&
         trip_source(sheet) != TripSource::typed;
}

bool prefers_loops(const ControlSheet& sheet) {
  return sheet.branches.can_loop() && sheet.branches.can_jump() &&
         !sheet.variables.index_open.empty() && sheet.log.available();
}

Expected<EmittedProgram> emit(const ControlProgram& program, const ControlSheet& sheet) {
  Problems problems = sheet.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return Emitter(program, sheet).run();
}

}  // namespace pivotrace

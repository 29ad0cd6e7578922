#include "pivotrace/control/emit.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "control/speller.h"
#include "pivotrace/base/length.h"

namespace pivotrace {

namespace {

/// A guarded move that ends further than this from its target [mm] has met something; a skip move
/// that ends nearer than this to its target has met nothing. Common practice, no source.
constexpr double arrived_mm = 0.01;

constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};

/// Not in the 9000s, where many controls keep protected programs.
constexpr const char* program_number = "7100";

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
bool stops_on_condition(const Dialect& dialect) {
  return dialect.branches.can_jump() || !dialect.stops.demand.empty();
}

class Emitter {
 public:
  Emitter(const CycleProgram& program, const Machine& machine, const Dialect& dialect)
      : program_(with_helpers(program, dialect)),
        machine_(machine),
        dialect_(dialect),
        numbers_(program_, dialect),
        speller_(dialect_, numbers_, machine.inch) {}

  Expected<EmittedProgram> run();

 private:
  static CycleProgram with_helpers(const CycleProgram& program, const Dialect& dialect);

  // Text.
  void raw_line(const std::string& text) {
    text_ += text + (dialect_.text.carriage_return ? "\r\n" : "\n");
  }
  void block(const std::string& text);
  void noted(const std::string& text, const std::string& note);
  void remark(const std::string& text);
  std::string remark_text(const std::string& text) const;
  int remark_width() const;
  void refuse(const std::string& what, const std::string& advice);

  // Parts of the program.
  void write_header();
  void write_variables_used();
  void write_setup();
  void write_refusals();
  void write_shift();
  void write_result_heading();
  void write_alarms();
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
  void write(const MessageStep& step);
  void write(const OperatorStopStep& step);
  void write(const DemandStep& step) { demand(step.condition, step.alarm, Retreat::up); }
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
  void skip_block(const Targets& targets, const Value& feed);
  Value distance_to(const Targets& targets) const;
  void plain_move(const MoveStep& step);
  void guarded_move(const MoveStep& step);
  void skip_from_here(const SkipStep& step);
  void demand(const Condition& condition, const std::string& alarm, Retreat retreat);
  void demand_by_root(const Condition& condition);
  int alarm_label(const std::string& text, Retreat retreat);
  std::string filled_with_text(const std::string& form, std::map<std::string, std::string> values,
                               const std::string& text) const;
  std::string pointed_out(const std::string& text) const;
  std::string pointer(const std::string& what) const;
  void log_statement(const std::vector<std::string>& items);
  std::string log_value(const Value& value, int decimals);
  std::string log_text(const std::string& text) const;
  void store_touch(const LogStep& step);
  std::string word(Meaning meaning);
  bool can_watch() const { return watches_positioning(dialect_); }
  bool needs_shift() const {
    return dialect_.skip.target == Coordinates::program ||
           dialect_.skip.trip_point == Coordinates::program ||
           !dialect_.motion.machine_coordinates_at_feed;
  }

  CycleProgram program_;
  const Machine& machine_;
  const Dialect& dialect_;
  VariableNumbers numbers_;
  Speller speller_;
  std::string text_;
  int blocks_ = 0;
  int line_number_ = 0;
  int loop_level_ = 0;
  int next_label_ = 1;
  bool log_open_ = false;
  std::vector<Alarm> alarms_;
  Problems problems_;
};

std::string shift_name(int axis) {
  return std::string("machine minus program, ") + linear_letters[axis];
}
std::string target_name(int axis) { return std::string("target ") + linear_letters[axis]; }
std::string part_name(int depth) { return "part result " + std::to_string(depth + 1); }

constexpr int part_results = 4;

CycleProgram Emitter::with_helpers(const CycleProgram& program, const Dialect& dialect) {
  CycleProgram extended = program;
  for (int axis = 0; axis < 3; ++axis) extended.variables.push_back({shift_name(axis), 0});
  for (int axis = 0; axis < 3; ++axis) extended.variables.push_back({target_name(axis), 0});
  const int parts = dialect.text.max_line_length > 0 ? part_results : 0;
  for (int depth = 0; depth < parts; ++depth) extended.variables.push_back({part_name(depth), 0});
  extended.variables.push_back({"check", 0});
  return extended;
}

void Emitter::refuse(const std::string& what, const std::string& advice) {
  const bool said = std::any_of(problems_.begin(), problems_.end(),
                                [&](const Problem& problem) { return problem.what == what; });
  if (!said) {
    problems_.push_back({ProblemNumber::cannot_spell,
                         "the dialect `" + dialect_.name + "` " + what,
                         {dialect_.file, 0, 0},
                         advice});
  }
}

std::string Emitter::word(Meaning meaning) {
  std::string text = dialect_.word(meaning);
  if (text.empty()) {
    refuse("has no word for " + key_of(meaning), "add it under [words] if the control has one");
  }
  return text;
}

void Emitter::block(const std::string& text) {
  std::string line;
  if (dialect_.text.line_number_step > 0) {
    line_number_ = line_number_ + dialect_.text.line_number_step;
    if (line_number_ > dialect_.text.line_number_max) line_number_ = dialect_.text.line_number_step;
    line = dialect_.text.line_number_prefix + std::to_string(line_number_) + " ";
  }
  line += text + dialect_.text.block_end;
  const int limit = dialect_.text.max_line_length;
  if (limit > 0 && static_cast<int>(line.size()) > limit) {
    refuse(fmt::format("allows {} characters in a line, and this one needs {}: {}", limit,
                       line.size(), line),
           "take another dialect, or raise `max_line_length` if the control reads more");
  }
  raw_line(line);
  ++blocks_;
}

int Emitter::remark_width() const {
  const TextRules& rules = dialect_.text;
  int width = rules.max_comment_length;
  if (rules.max_line_length > 0) {
    const int room = rules.max_line_length -
                     static_cast<int>(rules.comment_open.size() + rules.comment_close.size());
    width = width == 0 ? room : std::min(width, room);
  }
  return width == 0 ? 76 : std::min(width, 76);
}

std::string Emitter::remark_text(const std::string& text) const {
  return dialect_.text.comment_open + text + dialect_.text.comment_close;
}

void Emitter::remark(const std::string& text) {
  for (const std::string& line : wrapped(speller_.plain_text(text), remark_width())) {
    raw_line(line.empty() ? std::string() : remark_text(line));
  }
}

/// A block with its remark behind it, or before it when the line would be too long.
void Emitter::noted(const std::string& text, const std::string& note) {
  if (note.empty()) return block(text);
  const std::string remark_part = remark_text(speller_.plain_text(note));
  const int limit = dialect_.text.max_line_length;
  const auto length = static_cast<int>(text.size() + remark_part.size()) + 8;
  const bool to_line_end = dialect_.text.comment_close.empty();
  if ((limit > 0 && length > limit) || (to_line_end && !dialect_.text.block_end.empty())) {
    remark(note);
    return block(text);
  }
  block(text + " " + remark_part);
}

void Emitter::write_header() {
  for (const std::string& line : dialect_.program_start) {
    raw_line(fill_form(
        line, {{"number", program_number}, {"title", speller_.plain_text(program_.title)}}));
  }
  remark(program_.title);
  for (const std::string& line : program_.header) remark(line);
  if (!can_watch()) {
    remark(
        "CAUTION: this control cannot watch the probe while it positions: moves between touches "
        "stop for nothing. Clear the table of everything that is not in the machine file.");
  }
  if (!dialect_.branches.can_jump()) {
    remark(
        "CAUTION: this control stops where it stands when a check fails: retract by hand, back "
        "the way the stylus came.");
    if (dialect_.stops.demand.empty() && dialect_.stops.root_of_negative_stops) {
      remark("An alarm about the square root of a negative number means that a check failed.");
    }
  }
  write_variables_used();
  const bool clamps = std::any_of(
      machine_.rotary.begin(), machine_.rotary.end(),
      [](const RotaryAxis& axis) { return !axis.clamp.empty() || !axis.unclamp.empty(); });
  if (clamps && !dialect_.motion.clamp_words) {
    remark("CAUTION: this program does not clamp or unclamp rotary axes; the machine must do it.");
  }
}

/// Shops keep their own numbers in variables, some of them over power-off.
void Emitter::write_variables_used() {
  int last_working = -1, last_table = -1;
  for (const ProgramVariable& variable : program_.variables) {
    const int first = numbers_.number_of(variable.name);
    const int last = first + std::max(1, variable.size) - 1;
    int& reached = variable.size > 0 ? last_table : last_working;
    reached = std::max(reached, last);
  }
  std::string text = fmt::format("CAUTION: overwrites variables {} to {}",
                                 dialect_.variables.working.first, last_working);
  if (last_table >= 0) {
    text += fmt::format(" and {} to {}", dialect_.variables.table.first, last_table);
  }
  if (!dialect_.log.available() && dialect_.variables.results) {
    text += fmt::format(" and {} to {}", dialect_.variables.results->first,
                        dialect_.variables.results->first + 1 + 3 * program_.touches);
  }
  remark(text + ": look what this control keeps there and write it down first.");
}

void Emitter::write_refusals() {
  if (dialect_.refusals.empty()) return;
  remark("refuse a control that is not in its plain state");
  for (const Refusal& refusal : dialect_.refusals) {
    const auto number = dialect_.position.modal_variable.find(refusal.group);
    if (number == dialect_.position.modal_variable.end()) {
      refuse("tests " + key_of(refusal.group) + " but names no variable for it",
             "add it under [position.modal_variable]");
      continue;
    }
    const std::string variable = speller_.variable(number->second);
    const auto& signs = dialect_.expressions.comparisons;
    const int label = alarm_label(refusal.text, Retreat::none);
    const std::string target = std::to_string(label);
    const auto equal_to = [&](int allowed, Comparison comparison) {
      return variable + " " + signs.at(comparison) + " " +
             speller_.number(allowed, Quantity::count);
    };
    if (refusal.allowed.size() == 1) {
      block(fill_form(
          dialect_.branches.jump_if,
          {{"condition", equal_to(refusal.allowed[0], Comparison::not_equal)}, {"label", target}}));
      continue;
    }
    const int past = next_label_++;
    for (const int allowed : refusal.allowed) {
      block(fill_form(
          dialect_.branches.jump_if,
          {{"condition", equal_to(allowed, Comparison::equal)}, {"label", std::to_string(past)}}));
    }
    block(fill_form(dialect_.branches.jump, {{"label", target}}));
    block(fill_form(dialect_.branches.label, {{"label", std::to_string(past)}}));
  }
}

void Emitter::write_setup() {
  remark("plain state: nothing that bends, turns, scales or shifts a move");
  block(word(machine_.inch ? Meaning::inches : Meaning::millimetres));
  for (const auto& line : dialect_.setup) {
    std::string words;
    for (const Meaning meaning : line) words += (words.empty() ? "" : " ") + word(meaning);
    block(words);
  }
}

void Emitter::write_shift() {
  if (!needs_shift()) return;
  remark("machine coordinates minus program coordinates, now");
  for (int axis = 0; axis < 3; ++axis) {
    const char letter = linear_letters[axis];
    const PositionRules& position = dialect_.position;
    const bool both =
        position.machine_position.contains(letter) && position.program_position.contains(letter);
    if (!both && !position.work_origin_1.contains(letter)) {
      refuse(
          std::string("cannot tell machine from program coordinates of ") + letter,
          "give `machine_position` and `program_position`, or `work_origin_1`, under [position]");
      return;
    }
    assign(speller_.variable(shift_name(axis)),
           machine_value(MachineValue::machine_minus_program, letter), "");
  }
}

void Emitter::write_result_heading() {
  if (dialect_.log.available()) return;
  const VariableRange& range = *dialect_.variables.results;
  if (range.count() < 2 + 3 * program_.touches) {
    refuse(fmt::format("has {} result variables, and {} touches need {}", range.count(),
                       program_.touches, 2 + 3 * program_.touches),
           "plan fewer touches, or widen `results` under [variables]");
    return;
  }
  remark(fmt::format("touches are left in variables {} to {}", range.first,
                     range.first + 1 + 3 * program_.touches));
  block(fill_form(dialect_.assignment.form,
                  {{"variable", speller_.variable(range.first)},
                   {"value", speller_.number(program_.identity_number, Quantity::count)}}));
  block(fill_form(dialect_.assignment.form, {{"variable", speller_.variable(range.first + 1)},
                                             {"value", speller_.number(0, Quantity::count)}}));
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
  const std::string text = fill_form(dialect_.assignment.form,
                                     {{"variable", target}, {"value", speller_.assigned(value)}});
  const int limit = dialect_.text.max_line_length;
  const auto* binary = std::get_if<BinaryNode>(&value.node());
  const auto* unary = std::get_if<UnaryNode>(&value.node());
  const bool too_long = limit > 0 && static_cast<int>(text.size()) + 8 > limit;
  if (!too_long || depth >= part_results || (binary == nullptr && unary == nullptr)) {
    return noted(text, note);
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
  const bool shift = node != nullptr && node->what == MachineValue::trip_point &&
                     dialect_.skip.trip_point == Coordinates::program;
  return shift ? value + Variable{shift_name(node->letter - 'X')} : value;
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
    shifted[axis] = simplified(*targets[axis] - Variable{shift_name(axis)}, target_name(axis));
  }
  return shifted;
}

/// Sum of the distances along X, Y, Z between the trip point and the targets, both as the skip
/// move counts them.
Value Emitter::distance_to(const Targets& targets) const {
  Value sum;
  for (int axis = 0; axis < 3; ++axis) {
    if (!targets[axis]) continue;
    sum = sum +
          absolute(machine_value(MachineValue::trip_point, linear_letters[axis]) - *targets[axis]);
  }
  return sum;
}

void Emitter::skip_block(const Targets& targets, const Value& feed) {
  if (!dialect_.skip.feed_in_same_block) {
    refuse("sets no feed in the block of a skip move", "set `feed_in_same_block = true`");
  }
  block(word(Meaning::skip) + axis_words(targets) + feed_word(feed));
}

void Emitter::plain_move(const MoveStep& step) {
  const bool rapid = step.kind == MoveKind::rapid;
  const std::string in_machine = dialect_.word(Meaning::machine_coordinates);
  const std::string motion = word(rapid ? Meaning::rapid : Meaning::feed);
  const std::string feed = rapid ? std::string() : feed_word(step.feed);
  Targets targets = step.to;
  if (dialect_.skip.target == Coordinates::machine) {
    return block(motion + axis_words(targets) + feed);
  }
  if (!in_machine.empty() && (rapid || dialect_.motion.machine_coordinates_at_feed)) {
    return block(in_machine + " " + motion + axis_words(targets) + feed);
  }
  block(motion + axis_words(in_program_coordinates(targets)) + feed);
}

/// A skip move that must not trigger, and a look whether it did.
void Emitter::guarded_move(const MoveStep& step) {
  const Targets targets =
      dialect_.skip.target == Coordinates::program ? in_program_coordinates(step.to) : step.to;
  skip_block(targets, step.feed);
  demand({distance_to(targets), Comparison::less_equal, length(arrived_mm)},
         "stylus met something on the way", step.retreat);
}

void Emitter::write(const MoveStep& step) {
  if (step.kind == MoveKind::guarded && can_watch()) return guarded_move(step);
  plain_move(step);
}

/// The first find starts from a place only the operator knows.
void Emitter::skip_from_here(const SkipStep& step) {
  const bool in_program = dialect_.skip.target == Coordinates::program;
  const auto& known =
      in_program ? dialect_.position.program_position : dialect_.position.machine_position;
  const bool can_tell = std::all_of(linear_letters.begin(), linear_letters.end(),
                                    [&](char letter) { return known.contains(letter); });
  if (can_tell) {
    Targets targets;
    for (int axis = 0; axis < 3; ++axis) {
      if (!step.to[axis]) continue;
      assign(speller_.variable(target_name(axis)),
             machine_value(
                 in_program ? MachineValue::program_position : MachineValue::machine_position,
                 linear_letters[axis]) +
                 *step.to[axis],
             "");
      targets[axis] = Variable{target_name(axis)};
    }
    skip_block(targets, step.feed);
    if (can_watch()) {
      demand({distance_to(targets), Comparison::greater, length(arrived_mm)}, step.untriggered,
             step.retreat);
    }
    return;
  }
  if (dialect_.word(Meaning::incremental).empty() ||
      dialect_.skip.untriggered == WhenUntriggered::goes_on) {
    return refuse(
        "cannot start from a jogged position: it neither tells its position nor stops by "
        "itself when nothing is met",
        "plan without self-finding, or describe [position]");
  }
  block(word(Meaning::incremental));
  skip_block(step.to, step.feed);
  block(word(Meaning::absolute));
}

void Emitter::write(const SkipStep& step) {
  if (step.from_here) return skip_from_here(step);
  const bool in_program = dialect_.skip.target == Coordinates::program;
  const Targets targets = in_program ? in_program_coordinates(step.to) : step.to;
  skip_block(targets, step.feed);
  if (dialect_.skip.untriggered == WhenUntriggered::goes_on) {
    if (!stops_on_condition(dialect_)) {
      return refuse("goes on when nothing was met and cannot test for it",
                    "describe [branches] or `demand` under [stops]");
    }
    demand({distance_to(targets), Comparison::greater, length(arrived_mm)}, step.untriggered,
           step.retreat);
  }
  if (step.start && !dialect_.skip.triggered_at_start_is_error && stops_on_condition(dialect_)) {
    Value moved;
    for (int axis = 0; axis < 3; ++axis) {
      const Value trip =
          in_machine_coordinates(machine_value(MachineValue::trip_point, linear_letters[axis]));
      moved = moved + absolute(trip - (*step.start)[axis]);
    }
    demand({moved, Comparison::greater, length(10.0 * arrived_mm)}, step.early, step.retreat);
  }
}

void Emitter::write(const TurnStep& step) {
  const std::string axis =
      std::string(" ") + machine_.rotary[step.axis].letter + speller_.after_letter(step.to_deg);
  if (dialect_.axis_letters.find(machine_.rotary[step.axis].letter) == std::string::npos) {
    refuse(std::string("moves no axis ") + machine_.rotary[step.axis].letter,
           "add the letter to `axis_letters` if the control has it");
  }
  const std::string in_machine = dialect_.word(Meaning::machine_coordinates);
  const bool plain = in_machine.empty() || dialect_.skip.target == Coordinates::machine;
  block((plain ? std::string() : in_machine + " ") + word(Meaning::rapid) + axis);
}

void Emitter::write(const ClampStep& step) {
  const RotaryAxis& axis = machine_.rotary[step.axis];
  const std::string& text = step.clamp ? axis.clamp : axis.unclamp;
  if (!text.empty() && dialect_.motion.clamp_words) block(text);
}

void Emitter::write(const StandsAtStep& step) {
  /// Sine of half the angle an axis may be off: a tenth of a degree.
  constexpr double sine_of_half = 0.001;
  const char letter = machine_.rotary[step.axis].letter;
  if (!dialect_.position.machine_position.contains(letter) || !stops_on_condition(dialect_)) return;
  const Value off = machine_value(MachineValue::machine_position, letter) - step.at_deg;
  demand({absolute(sine(off / Value(2.0))), Comparison::less_equal, Value(sine_of_half)},
         step.alarm, Retreat::none);
}

void Emitter::write(const SpindleStep& step) {
  if (!step.orient_deg) {
    if (!dialect_.word(Meaning::spindle_stop).empty()) block(word(Meaning::spindle_stop));
    return;
  }
  if (!dialect_.spindle.orient_form.empty()) {
    return block(fill_form(dialect_.spindle.orient_form,
                           {{"degrees", speller_.number(*step.orient_deg, Quantity::angle)}}));
  }
  write(OperatorStopStep{fmt::format("turn the spindle to {:.0f} deg and hold it there, then start",
                                     *step.orient_deg)});
}

std::string Emitter::log_text(const std::string& text) const {
  std::string written;
  for (const char c : speller_.plain_text(text)) {
    written += c == ' ' ? dialect_.log.space_in_text : std::string(1, c);
  }
  return fill_form(dialect_.log.text_item, {{"text", written}});
}

std::string Emitter::log_value(const Value& value, int decimals) {
  if (const auto* number = std::get_if<NumberNode>(&value.node())) {
    std::string text = speller_.number(number->number, number->quantity);
    if (const std::size_t mark = text.find(dialect_.numbers.decimal_mark);
        mark != std::string::npos && !dialect_.numbers.decimal_mark.empty()) {
      text.replace(mark, dialect_.numbers.decimal_mark.size(), dialect_.log.decimal_mark);
    }
    return fill_form(dialect_.log.text_item, {{"text", text}});
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
  return fill_form(dialect_.log.value_item, {{"variable", written},
                                             {"whole", std::to_string(dialect_.log.whole_digits)},
                                             {"decimals", std::to_string(decimals)}});
}

void Emitter::log_statement(const std::vector<std::string>& items) {
  std::string text = dialect_.log.begin;
  for (std::size_t i = 0; i < items.size(); ++i)
    text += (i == 0 ? "" : dialect_.log.join) + items[i];
  block(text + dialect_.log.end);
}

void Emitter::store_touch(const LogStep& step) {
  const int first = dialect_.variables.results->first;
  const double* touch = step.touch.number();
  if (touch == nullptr) return refuse("leaves touches in variables and cannot loop", "");
  const int at = first + 2 + 3 * (static_cast<int>(*touch) - 1);
  for (int axis = 0; axis < 3; ++axis) {
    assign(speller_.variable(at + axis), step.at[axis], "");
  }
  block(fill_form(dialect_.assignment.form, {{"variable", speller_.variable(first + 1)},
                                             {"value", speller_.number(*touch, Quantity::count)}}));
}

void Emitter::write(const LogStep& step) {
  if (!dialect_.log.available()) return store_touch(step);
  const int decimals = dialect_.log.decimals;
  std::vector<std::string> items = {log_value(step.touch, 0), log_value(step.station, 0),
                                    log_text(step.artefact)};
  for (const auto& [letter, value] : step.rotary_deg) items.push_back(log_value(value, decimals));
  for (const Value& value : step.at) items.push_back(log_value(value, decimals));
  items.push_back(log_text(step.flip ? "1" : "0"));
  items.push_back(log_text(machine_.inch ? "inch" : "mm"));
  log_statement(items);
}

void Emitter::write(const LogFileStep& step) {
  if (!dialect_.log.available()) return;
  log_open_ = step.open;
  if (!step.open) {
    if (!dialect_.log.close_form.empty()) block(dialect_.log.close_form);
    return;
  }
  if (!dialect_.log.open_form.empty()) block(dialect_.log.open_form);
  std::vector<std::string> items = {log_text("touch"), log_text("station"), log_text("artefact")};
  for (const RotaryAxis& axis : machine_.rotary)
    items.push_back(log_text(std::string(1, axis.letter)));
  for (const char letter : linear_letters) items.push_back(log_text(std::string(1, letter)));
  items.push_back(log_text("flip"));
  items.push_back(log_text("units"));
  log_statement(items);
}

void Emitter::write(const MessageStep& step) {
  if (dialect_.stops.message.empty()) return remark(step.text);
  block(fill_form(dialect_.stops.message, {{"text", speller_.plain_text(step.text)}}));
}

/// Texts may point at variables: {variable:NAME}, {origin:SYSTEM:LETTER}, {length:MM}.
std::string Emitter::pointed_out(const std::string& text) const {
  std::string result;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t open = text.find('{', at);
    const std::size_t close = open == std::string::npos ? open : text.find('}', open);
    if (close == std::string::npos) break;
    result += speller_.plain_text(text.substr(at, open - at));
    result += pointer(text.substr(open + 1, close - open - 1));
    at = close + 1;
  }
  return result + speller_.plain_text(text.substr(at));
}

std::string Emitter::pointer(const std::string& what) const {
  const std::string rest = what.substr(what.find(':') + 1);
  if (what.starts_with("variable:")) return speller_.variable(rest);
  if (what.starts_with("length:")) return speller_.number(std::stod(rest), Quantity::length);
  const int system = std::stoi(rest);
  const char letter = rest.back();
  const auto first = dialect_.position.work_origin_1.find(letter);
  if (first == dialect_.position.work_origin_1.end()) {
    return speller_.plain_text("see offset page");
  }
  return speller_.variable(first->second + (system - 1) * dialect_.position.work_origin_step);
}

void Emitter::write(const OperatorStopStep& step) {
  const std::string& form = dialect_.stops.operator_stop;
  if (form.empty()) {
    return refuse("cannot wait for the operator", "give `operator_stop` under [stops]");
  }
  const std::string text = pointed_out(step.text);
  const std::string full = fill_form(form, {{"text", text}});
  const int limit = dialect_.text.max_line_length;
  const bool fits = (limit == 0 || static_cast<int>(full.size()) + 8 <= limit) &&
                    (dialect_.text.max_comment_length == 0 ||
                     static_cast<int>(text.size()) <= dialect_.text.max_comment_length);
  if (fits) return block(full);
  raw_line("");  // the heading of a section is not part of what the operator is told
  for (const std::string& line : wrapped(text, remark_width())) raw_line(remark_text(line));
  block(fill_form(form, {{"text", speller_.plain_text("see text above")}}));
}

/// Fills {text} with as much of the text as the line has room for.
std::string Emitter::filled_with_text(const std::string& form,
                                      std::map<std::string, std::string> values,
                                      const std::string& text) const {
  values["text"] = "";
  const int limit = dialect_.text.max_line_length;
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

/// A root of a negative number is an error on this control: the only brake it has.
void Emitter::demand_by_root(const Condition& condition) {
  Value room;
  switch (condition.comparison) {
    case Comparison::less:
    case Comparison::less_equal: room = condition.right - condition.left; break;
    case Comparison::greater:
    case Comparison::greater_equal: room = condition.left - condition.right; break;
    default: return refuse("can only check for less and more", "");
  }
  assign(speller_.variable("check"), square_root(room), "");
}

void Emitter::demand(const Condition& condition, const std::string& alarm, Retreat retreat) {
  if (dialect_.branches.can_jump()) {
    const int label = alarm_label(alarm, retreat);
    return block(fill_form(dialect_.branches.jump_if, {{"condition", speller_.negated(condition)},
                                                       {"label", std::to_string(label)}}));
  }
  if (!dialect_.stops.demand.empty()) {
    const Condition simple = {simplified(condition.left, "check"), condition.comparison,
                              condition.right};
    return block(filled_with_text(dialect_.stops.demand,
                                  {{"condition", speller_.condition(simple)}}, alarm));
  }
  if (dialect_.stops.root_of_negative_stops) return demand_by_root(condition);
  refuse("cannot stop on a condition (" + alarm + ")",
         "describe [branches], or `demand` or `root_of_negative_stops` under [stops]");
}

void Emitter::write(const WhileStep& step) {
  if (!dialect_.branches.can_loop() || loop_level_ >= dialect_.branches.while_levels) {
    return refuse("cannot nest loops this deep", "");
  }
  const std::string level = std::to_string(++loop_level_);
  block(fill_form(dialect_.branches.while_begin,
                  {{"condition", speller_.condition(step.condition)}, {"level", level}}));
  write_steps(step.body);
  block(fill_form(dialect_.branches.while_end, {{"level", level}}));
  --loop_level_;
}

void Emitter::write(const IfStep& step) {
  if (!dialect_.branches.can_jump()) return refuse("has no branches", "");
  const std::string label = std::to_string(next_label_++);
  block(fill_form(dialect_.branches.jump_if,
                  {{"condition", speller_.negated(step.condition)}, {"label", label}}));
  write_steps(step.then);
  block(fill_form(dialect_.branches.label, {{"label", label}}));
}

void Emitter::write(const SetOffsetStep& step) {
  const OffsetRules& rules = dialect_.offsets;
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
  if (dialect_.stops.alarm.empty()) {
    return refuse("cannot raise an alarm", "give `alarm` under [stops]");
  }
  raw_line("");
  remark("alarms: retract the way it came, then stop");
  // Writing a retract may need no further alarm; take the list as it is now.
  const std::vector<Alarm> alarms = alarms_;
  int number = dialect_.stops.alarm_numbers.first;
  for (const Alarm& alarm : alarms) {
    block(fill_form(dialect_.branches.label, {{"label", std::to_string(alarm.label)}}));
    if (alarm.retreat != Retreat::none) write_steps(program_.retreats.at(alarm.retreat));
    if (alarm.log_open && !dialect_.log.close_form.empty()) block(dialect_.log.close_form);
    std::string text = speller_.plain_text(alarm.text);
    if (dialect_.stops.max_alarm_text > 0) text = text.substr(0, dialect_.stops.max_alarm_text);
    block(fill_form(dialect_.stops.alarm, {{"number", std::to_string(number)}, {"text", text}}));
    number = std::min(number + 1, dialect_.stops.alarm_numbers.last);
  }
}

Expected<EmittedProgram> Emitter::run() {
  if (!numbers_.fits()) {
    refuse(fmt::format("has too few variables: this program needs {}", numbers_.needed()),
           "plan fewer stations or touches, or widen `working` and `table` under [variables]");
    return tl::make_unexpected(problems_);
  }
  write_header();
  write_refusals();
  write_setup();
  write_shift();
  write_result_heading();
  write_steps(program_.steps);
  block(word(Meaning::program_end));
  write_alarms();
  for (const std::string& line : dialect_.program_end) raw_line(line);
  if (!problems_.empty()) return tl::make_unexpected(problems_);
  EmittedProgram emitted{std::move(text_), blocks_, numbers_.all(), std::nullopt};
  if (!dialect_.log.available()) {
    const int first = dialect_.variables.results->first;
    emitted.results = ResultVariables{first, first + 1, first + 2};
  }
  return emitted;
}

}  // namespace

double rounding_bound_mm(const Dialect& dialect, bool inch) {
  return inch ? 0.5 * std::pow(10.0, -dialect.numbers.decimals_inch) * mm_per_inch
              : 0.5 * std::pow(10.0, -dialect.numbers.decimals_mm);
}

bool watches_positioning(const Dialect& dialect) {
  return dialect.skip.untriggered == WhenUntriggered::goes_on && stops_on_condition(dialect);
}

bool prefers_loops(const Dialect& dialect) {
  return dialect.branches.can_loop() && dialect.branches.can_jump() &&
         !dialect.variables.index_open.empty() && dialect.log.available();
}

Expected<EmittedProgram> emit(const CycleProgram& program, const Machine& machine,
                              const Dialect& dialect) {
  Problems problems = dialect.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return Emitter(program, machine, dialect).run();
}

}  // namespace pivotrace

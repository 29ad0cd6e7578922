// The proof of a control sheet on a virtual control whose behaviour stands in a file of its own, with
// every slot of the sheet wrong in turn.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "control/recording_machine.h"
#include "pivotrace/control/interpreter.h"
#include "pivotrace/control/proof.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/formats/control_sheet_file.h"

namespace pivotrace {
namespace {

ControlSheet sheet_in(const std::string& file) {
  const auto sheet = read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/" + file);
  REQUIRE(sheet.has_value());
  return *sheet;
}

/// A person at a machine: types what the screen shows, triggers the probe half-way by hand.
class Bench : public test::RecordingMachine {
 public:
  Bench(const ControlSheet& behaviour, Variables& variables)
      : behaviour_(behaviour), variables_(variables) {
    position = {-321.456, 87.654, -45.678, 30.0, 0.0, 60.0};
  }

  MachineAnswer probe(const AxisValues& target, const FeedRate& rate, ProbeEnd& end) override {
    AxisValues half = position;
    for (std::size_t i = 0; i < 3; ++i) half[i] = 0.5 * (position[i] + target[i]);
    trip_at = half;
    return RecordingMachine::probe(target, rate, end);
  }

  MachineAnswer operator_stop(const std::string& text, bool optional) override {
    const OperatorRequest request = read_request(text);
    if (request.task == OperatorTask::type_position) {
      for (std::size_t i = 0; i < 3; ++i) type(request.variables[i], position[i]);
    }
    return RecordingMachine::operator_stop(text, optional);
  }

 private:
  void type(const std::string& spelled, double value) {
    const std::string& prefix = behaviour_.variables.prefix;
    if (!spelled.starts_with(prefix)) return;
    int number = 0;
    std::from_chars(spelled.data() + prefix.size(), spelled.data() + spelled.size(), number);
    if (variables_.exists(number)) variables_.set(number, std::round(value * 1000.0) / 1000.0);
  }

  const ControlSheet& behaviour_;
  Variables& variables_;
};

struct Outcome {
  bool caught = false;
  std::string how;
};

/// The sheet proven on the control: caught where anything is not as it must be.
Outcome proven(const ControlSheet& sheet, const ControlSheet& behaviour) {
  const auto program = proof_program(sheet);
  if (!program) return {true, "no program: " + program.error().front().what};
  Variables variables(behaviour.variables.readable);
  Bench bench(behaviour, variables);
  InterpreterOptions options;
  for (AxisValues& origin : options.start.work_origins) origin = {-100.0, 50.0, 25.0, 0, 0, 0};
  options.start.in_force[ModalGroup::units] = Meaning::millimetres;
  options.block_limit = 20'000;
  const ProgramRun run =
      run_program(program->text, "proof.nc", behaviour, bench, variables, options);
  const std::string why = run.problems.empty() ? "" : run.problems.front().what;
  if (run.end != ProgramEnd::alarm) return {true, "did not end with its alarm: " + why};
  const char* const meant =
      behaviour.text.upper_case_only ? "THIS ALARM IS MEANT" : "this alarm is meant";
  if (why.find(meant) == std::string::npos) return {true, "another alarm: " + why};
  std::string log;
  for (const std::string& line : bench.log_lines) log += line + "\n";
  const auto reading = read_proof(sheet, log, "proof.log");
  if (!reading) return {true, reading.error().front().what};
  for (const ProofLine& line : reading->lines) {
    if (line.verdict != ProofVerdict::holds) return {true, line.slot};
  }
  return {false, ""};
}

/// Makes one slot wrong; false where there is nothing to make wrong.
class Spoiler {
 public:
  explicit Spoiler(const Slot& slot) : slot_(slot) {}
  bool spoil(ControlSheet& sheet) const {
    return std::visit([&](const auto& place) { return wrong(place, sheet); }, slot_.place);
  }

 private:
  static bool wrong_text(std::string& text) {
    if (text.empty()) return false;
    // The last letter outside a blank becomes another one: a slip of the pen.
    bool in_blank = false;
    for (std::size_t i = text.size(); i-- > 0;) {
      if (text[i] == '}') in_blank = true;
      if (!in_blank && text[i] != ' ') {
        text[i] = text[i] == 'Q' ? 'J' : 'Q';
        return true;
      }
      if (text[i] == '{') in_blank = false;
    }
    text += "Q";
    return true;
  }
  bool wrong(TextPlace place, ControlSheet& sheet) const { return wrong_text(place(sheet)); }
  bool wrong(FlagPlace place, ControlSheet& sheet) const {
    place(sheet) = !place(sheet);
    return true;
  }
  bool wrong(WholePlace place, ControlSheet& sheet) const {
    ++place(sheet);
    return true;
  }
  bool wrong(NumberPlace place, ControlSheet& sheet) const {
    place(sheet) += 1.0;
    return true;
  }
  bool wrong(RangePlace place, ControlSheet& sheet) const {
    place(sheet) = {9000, 9500};
    return true;
  }
  bool wrong(OptionalRangePlace place, ControlSheet& sheet) const {
    if (!place(sheet)) return false;
    place(sheet) = VariableRange{9000, 9500};
    return true;
  }
  bool wrong(AxesPlace place, ControlSheet& sheet) const {
    for (auto& [letter, number] : place(sheet)) number += 1;
    return !place(sheet).empty();
  }
  bool wrong(LinesPlace place, ControlSheet& sheet) const {
    return !place(sheet).empty() && wrong_text(place(sheet).front());
  }
  bool wrong(const WordPlace& place, ControlSheet& sheet) const {
    const auto found = sheet.words.find(place.meaning);
    if (found == sheet.words.end()) return false;
    found->second = {"G149"};
    return true;
  }
  bool wrong(const OperatorPlace& place, ControlSheet& sheet) const {
    const auto found = sheet.expressions.operators.find(place.op);
    if (found == sheet.expressions.operators.end()) return false;
    found->second = found->second == "+" ? "-" : "+";
    return true;
  }
  bool wrong(const ComparisonPlace& place, ControlSheet& sheet) const {
    const auto found = sheet.expressions.comparisons.find(place.comparison);
    if (found == sheet.expressions.comparisons.end()) return false;
    found->second = found->second == "<" ? ">" : "<";
    return true;
  }
  bool wrong(const FunctionPlace& place, ControlSheet& sheet) const {
    const auto found = sheet.expressions.functions.find(place.function);
    if (found == sheet.expressions.functions.end()) return false;
    found->second = found->second == "TAN" ? "EXP" : "TAN";
    return true;
  }
  bool wrong(const ModalPlace& place, ControlSheet& sheet) const {
    const auto found = sheet.position.modal_variable.find(place.group);
    if (found == sheet.position.modal_variable.end()) return false;
    found->second = 100;
    return true;
  }
  bool wrong(const ChoicePlace& place, ControlSheet& sheet) const {
    place.set(sheet, place.get(sheet) == 0 ? 1 : 0);
    return true;
  }

  const Slot& slot_;
};

/// Slots the proof cannot show to be wrong, and why. Everything not here is caught.
struct NotShown {
  const char* why;
  std::vector<std::string> slots;
};

const std::vector<NotShown>& not_shown() {
  static const std::vector<NotShown> list = {
      {"only people read it",
       {"name", "title", "invented", "text.comment_punctuation", "text.carriage_return",
        "text.block_skip", "text.line_number_prefix", "stops.message", "stops.value_in_text"}},
      {"a limit the proof stays below",
       {"text.max_comment_length", "text.line_number_max", "numbers.max_digits",
        "expressions.max_nesting", "log.whole_digits", "stops.alarm_numbers",
        "stops.max_alarm_text", "branches.while_levels"}},
      {"how a rehearsal reads, nothing of it is written",
       {"text.case_matters", "text.spaces_ignored", "text.repeated_letter_is_error",
        "numbers.exponent_allowed", "numbers.plus_sign_allowed", "variables.chained",
        "variables.unset_is_error", "expressions.round_down_towards_zero",
        "expressions.modulo_never_negative", "assignment.takes_effect_after_block",
        "assignment.per_block", "skip.min_distance_mm", "skip.rotary_words_allowed", "dwell.letter",
        "dwell.seconds_per_unit", "log.decimal_mark"}},
      {"this control reads either way",
       {"axis_letters", "numbers.decimals_mm", "numbers.decimals_inch", "numbers.decimals_deg",
        "numbers.decimals_feed", "numbers.decimals_factor", "numbers.point_always",
        "expressions.sign_before_variable", "expressions.word_needs_brackets",
        "assignment.value_needs_brackets", "log.decimals", "log.decimals_inch"}},
      {"programs do not write it on this control",
       {"expressions.arctangent_form",
        "expressions.operators.modulo",
        "expressions.operators.and",
        "expressions.operators.or",
        "expressions.operators.one-of",
        "expressions.functions.tangent",
        "expressions.functions.arcsine",
        "expressions.functions.arccosine",
        "expressions.functions.arctangent",
        "expressions.functions.round",
        "expressions.functions.round-down",
        "expressions.functions.round-up",
        "branches.jump",
        "position.work_origin_1",
        "position.work_origin_step",
        "position.active_work_offset",
        "position.modal_variable.units",
        "stops.root_of_negative_stops",
        "log.space_in_text",
        "words.arc-clockwise",
        "words.arc-counterclockwise",
        "words.dwell",
        "words.set-data",
        "words.incremental",
        "words.inches",
        "words.plane-zx",
        "words.plane-yz",
        "words.feed-per-revolution",
        "words.feed-inverse-time",
        "words.radius-compensation-left",
        "words.radius-compensation-right",
        "words.length-compensation-on",
        "words.scaling-on",
        "words.rotation-on",
        "words.work-offset-1",
        "words.work-offset-2",
        "words.work-offset-3",
        "words.work-offset-4",
        "words.work-offset-5",
        "words.work-offset-6",
        "words.exact-stop",
        "words.blended-path",
        "words.spindle-clockwise",
        "words.spindle-counterclockwise",
        "words.coolant-off",
        "words.coolant-on",
        "words.program-stop",
        "words.optional-stop",
        "words.spindle-orient"}},
      {"it takes a move or a function, and the proof makes one probe move only",
       {"motion.machine_coordinates_at_feed", "motion.clamp_words", "skip.untriggered",
        "skip.triggered_at_start_is_error", "spindle.orient_form", "words.rapid", "words.feed",
        "words.machine-coordinates", "words.spindle-stop"}},
      {"the proof writes no offset where the control tells its position",
       {"offsets.form", "offsets.first_system", "offsets.last_system", "offsets.own_system"}},
  };
  return list;
}

bool is_excused(const std::string& slot) {
  return std::any_of(not_shown().begin(), not_shown().end(), [&](const NotShown& group) {
    return std::find(group.slots.begin(), group.slots.end(), slot) != group.slots.end();
  });
}

TEST_CASE("a right sheet is proven, on the control and through its own record") {
  const Outcome outcome =
      proven(sheet_in("routines/demo-control.toml"), sheet_in("tests/control/demo-behaviour.toml"));
  CHECK_MESSAGE(!outcome.caught, outcome.how);
}

TEST_CASE("every slot wrong in turn is caught by the proof, but for those that cannot be") {
  const ControlSheet right = sheet_in("routines/demo-control.toml");
  const ControlSheet behaviour = sheet_in("tests/control/demo-behaviour.toml");
  int caught = 0;
  for (const Slot& slot : slots()) {
    ControlSheet wrong = right;
    if (!Spoiler(slot).spoil(wrong)) continue;
    const Outcome outcome = proven(wrong, behaviour);
    const bool excused = is_excused(slot.name());
    CAPTURE(slot.name());
    CAPTURE(outcome.how);
    CHECK(outcome.caught != excused);
    caught += outcome.caught ? 1 : 0;
  }
  CHECK(caught >= 45);
}

TEST_CASE("the third sheet, filled in by the questions, is proven on the control of its manual") {
  const Outcome outcome =
      proven(sheet_in("tests/cycle/third.toml"), sheet_in("tests/control/third-behaviour.toml"));
  CHECK_MESSAGE(!outcome.caught, outcome.how);
}

TEST_CASE("third sheet: every slot wrong in turn is caught, but for those that cannot be") {
  const ControlSheet right = sheet_in("tests/cycle/third.toml");
  const ControlSheet behaviour = sheet_in("tests/control/third-behaviour.toml");
  int caught = 0;
  for (const Slot& slot : slots()) {
    ControlSheet wrong = right;
    if (!Spoiler(slot).spoil(wrong)) continue;
    const Outcome outcome = proven(wrong, behaviour);
    CAPTURE(slot.name());
    CAPTURE(outcome.how);
    // The alarm that is meant ends the program before its last line is read.
    const bool excused = is_excused(slot.name()) || slot.name() == "program_end";
    CHECK((outcome.caught || excused));
    caught += outcome.caught ? 1 : 0;
  }
  CHECK(caught >= 45);
}

TEST_CASE("a proof counts for the sheet as it stood, not for a changed one") {
  ControlSheet sheet = sheet_in("routines/demo-control.toml");
  CHECK_FALSE(sheet.is_proven());
  sheet.proof = ProofRecord{"2026-03-02T09:00:00Z", sheet.fingerprint};
  CHECK(sheet.is_proven());
  const std::string text =
      "format = 1\nname = \"x\"\n[words]\nrapid = \"G0\"\nfeed = \"G1\"\nskip = \"G38.2\"\n"
      "millimetres = \"G21\"\n[variables]\nreadable = [1, 1999]\nresults = [600, 699]\n";
  const auto before = parse_control_sheet(text, "x.toml");
  REQUIRE(before.has_value());
  const std::string proven_text = with_proof(text, {"2026-03-02T09:00:00Z", before->fingerprint});
  CHECK(parse_control_sheet(proven_text, "x.toml")->is_proven());
  std::string changed = proven_text;
  changed.replace(changed.find("G38.2"), 5, "G38.3");
  CHECK_FALSE(parse_control_sheet(changed, "x.toml")->is_proven());
}

TEST_CASE("a record that is none is refused") {
  const ControlSheet sheet = sheet_in("routines/demo-control.toml");
  for (const char* text : {"", "touch,station\n", "\xff\xfe\n", "1,2\n"}) {
    const auto reading = read_proof(sheet, text, "x.log");
    REQUIRE_FALSE(reading.has_value());
    CHECK(reading.error().front().number == ProblemNumber::no_data);
  }
}

}  // namespace
}  // namespace pivotrace

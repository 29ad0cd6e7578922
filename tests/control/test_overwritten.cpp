// Before the first variable is overwritten the operator is told which, and shown what they hold.
#include <doctest/doctest.h>

#include <charconv>
#include <map>

#include "control/recording_machine.h"
#include "pivotrace/control/emit.h"
#include "pivotrace/control/interpreter.h"
#include "pivotrace/formats/control_sheet_file.h"

namespace pivotrace {
namespace {

ControlSheet shipped(const std::string& file) {
  const auto sheet = read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/" + file);
  REQUIRE(sheet.has_value());
  return *sheet;
}

/// Two variables and a table, all of them written to.
ControlProgram small_program() {
  ControlProgram program;
  program.title = "small";
  program.variables = {{"first", 0}, {"second", 0}, {"table", 5}};
  program.steps = {Step{AssignStep{Variable{"first"}, Value(7.0), ""}},
                   Step{AssignStep{Variable{"second"}, Value(8.0), ""}}};
  return program;
}

/// Every "*#12*" of a text: 12 -> what it shows on the demo control.
std::map<int, double> shown_in(const std::string& text, const Variables& variables) {
  std::map<int, double> shown;
  for (std::size_t at = text.find("*#"); at != std::string::npos; at = text.find("*#", at + 2)) {
    int number = 0;
    std::from_chars(text.data() + at + 2, text.data() + text.size(), number);
    shown[number] = variables.value(number);
  }
  return shown;
}

struct Stop {
  std::string text;
  std::map<int, double> shown;
  double first_held = 0.0;  ///< what the program's first variable holds at this moment
};

class Watcher : public test::RecordingMachine {
 public:
  Watcher(const Variables& variables, int first) : variables_(variables), first_(first) {}
  MachineAnswer operator_stop(const std::string& text, bool /*optional*/) override {
    stops.push_back({text, shown_in(text, variables_), variables_.value(first_)});
    return std::nullopt;
  }
  std::vector<Stop> stops;

 private:
  const Variables& variables_;
  int first_;
};

struct Outcome {
  EmittedProgram program;
  std::vector<Stop> stops;
};

/// Runs the small program after `held` was put into variables, by number.
Outcome run_after(const ControlSheet& sheet, const std::map<int, double>& held) {
  const auto program = emit(small_program(), sheet);
  REQUIRE(program.has_value());
  Variables variables(sheet.variables.readable);
  for (const auto& [number, value] : held) variables.set(number, value);
  Watcher watcher(variables, program->variable_numbers.at("first"));
  InterpreterOptions options;
  options.start.in_force[ModalGroup::units] = Meaning::millimetres;
  options.start.in_force[ModalGroup::radius_compensation] = Meaning::radius_compensation_off;
  const ProgramRun run = run_program(program->text, "small.nc", sheet, watcher, variables, options);
  for (const Problem& problem : run.problems) MESSAGE(problem.what);
  REQUIRE(run.end == ProgramEnd::finished);
  CHECK(variables.value(program->variable_numbers.at("first")) == 7.0);
  return {*program, watcher.stops};
}

ControlSheet demo() {
  ControlSheet sheet = shipped("routines/demo-control.toml");
  sheet.proof = ProofRecord{"2026-03-02T09:00:00Z", sheet.fingerprint};
  sheet.refusals.clear();
  return sheet;
}

TEST_CASE("what the variables hold is shown before the first is overwritten") {
  const ControlSheet sheet = demo();
  const Outcome empty = run_after(sheet, {});
  REQUIRE(empty.stops.size() == 1);
  const std::map<std::string, int>& numbers = empty.program.variable_numbers;
  const int first = numbers.at("first");
  const int third_of_table = numbers.at("table") + 2;
  // The counting overwrites four variables of its own: those are shown one by one, all at once.
  REQUIRE(empty.stops.front().shown.size() == 4);
  const int counting = empty.stops.front().shown.begin()->first;

  const Outcome held = run_after(sheet, {{first, 5.5}, {third_of_table, -2.0}, {counting, 42.0}});
  REQUIRE(held.stops.size() == 2);
  CHECK(held.stops[0].shown.at(counting) == 42.0);
  CHECK(held.stops[0].first_held == 5.5);
  CHECK(held.stops[1].first_held == 5.5);
  std::vector<double> said;
  for (const auto& [number, value] : held.stops[1].shown) said.push_back(value);
  CHECK(said == std::vector<double>{2.0, static_cast<double>(first)});
  CHECK(held.stops[1].text.find("OTHERS ARE NOT 0") != std::string::npos);

  const Outcome table_only = run_after(sheet, {{third_of_table, 1e-6}});
  REQUIRE(table_only.stops.size() == 2);
  said.clear();
  for (const auto& [number, value] : table_only.stops[1].shown) said.push_back(value);
  CHECK(said == std::vector<double>{1.0, static_cast<double>(third_of_table)});
}

TEST_CASE("where a control shows no values the operator is told which to look at, before") {
  ControlSheet sheet = demo();
  sheet.stops.value_in_text.clear();
  const auto program = emit(small_program(), sheet);
  REQUIRE(program.has_value());
  const int first = program->variable_numbers.at("first");
  const Outcome outcome = run_after(sheet, {{first, 5.5}});
  REQUIRE(outcome.stops.size() == 1);
  CHECK(outcome.stops[0].first_held == 5.5);
  for (const char* said : {"OVERWRITES VARIABLES 700 TO", "LOOK NOW", "WHAT THEY HOLD"}) {
    CHECK_MESSAGE(program->text.find(said) != std::string::npos, program->text);
  }
}

TEST_CASE("a text too long for a stop stands before it, the values stay in the stop itself") {
  const ControlSheet sheet = demo();
  ControlProgram program = small_program();
  program.steps.push_back(Step{OperatorStopStep{
      told({"a text so long that no stop of this control could ever show it whole: ",
            ShownVariable{"first"}})}});
  const auto emitted = emit(program, sheet);
  REQUIRE(emitted.has_value());
  const std::string spelled = "#" + std::to_string(emitted->variable_numbers.at("first"));
  CHECK_MESSAGE(emitted->text.find("M0 (SEE TEXT ABOVE " + spelled + " *" + spelled + "*)") !=
                    std::string::npos,
                emitted->text);
}

}  // namespace
}  // namespace pivotrace

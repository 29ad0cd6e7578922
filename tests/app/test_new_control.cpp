// A control sheet filled in from a one-page manual, by the questions alone, left and resumed; then it
// writes and rehearses what the shipped sheet of that control does.
#include <doctest/doctest.h>

#include <map>

#include "app/demo_folder.h"
#include "pivotrace/control/emit.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/formats/control_sheet_file.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// Answers read off tests/control/demo-manual.md, in its words.
const std::map<std::string, std::string>& manual() {
  static const std::map<std::string, std::string> answers = {
      {"variables.readable", "1 2999"},
      {"variables.working", "100 199"},
      {"variables.table", "500 999"},
      {"expressions.comparisons.equal", "=="},
      {"expressions.comparisons.not-equal", "<>"},
      {"expressions.comparisons.less", "<"},
      {"expressions.comparisons.less-or-equal", "<="},
      {"expressions.comparisons.greater", ">"},
      {"expressions.comparisons.greater-or-equal", ">="},
      {"branches.jump", "LEAP {label}"},
      {"branches.jump_if", "WHEN [{condition}] LEAP {label}"},
      {"branches.label", "N{label}"},
      {"branches.while_begin", "AGAIN {level} AS LONG AS [{condition}]"},
      {"branches.while_end", "AGAIN {level} DONE"},
      {"branches.while_levels", "3"},
      {"motion.machine_coordinates_at_feed", "no"},
      {"motion.clamp_words", "yes"},
      {"skip.untriggered", "goes-on"},
      {"skip.triggered_at_start_is_error", "no"},
      {"skip.trip_variable", "X=2031 Y=2032 Z=2033"},
      {"position.machine_position", "X=2011 Y=2012 Z=2013 A=2014 B=2015 C=2016"},
      {"position.program_position", "X=2021 Y=2022 Z=2023"},
      {"position.work_origin_1", "X=2201 Y=2202 Z=2203"},
      {"position.work_origin_step", "10"},
      {"position.modal_variable.units", "2101"},
      {"position.modal_variable.radius-compensation", "2102"},
      {"position.modal_variable.scaling", "2103"},
      {"position.modal_variable.rotation", "2104"},
      {"stops.message", "SHOW ({text})"},
      {"stops.alarm", "FAULT {number} ({text})"},
      {"stops.alarm_numbers", "1 99"},
      {"log.open_form", "NOTES ON"},
      {"log.close_form", "NOTES OFF"},
      {"log.begin", "\"NOTE \""},
      {"log.end", "\"\""},
      {"log.join", "\" & \""},
      {"log.text_item", "'{text}'"},
      {"log.value_item", "{variable}:{whole}.{decimals}"},
      {"log.separator", ","},
      {"spindle.orient_form", "M19 D{degrees}"},
      {"words.skip", "G38.2"},
  };
  return answers;
}

/// The answers to the questions a sheet still asks, a line each; at most `most` of them.
std::string typed_for(const std::string& file, std::size_t most = 1000) {
  std::string typed;
  std::size_t given = 0;
  const ControlSheet sheet = read_control_sheet(file).value();
  for (const Slot* slot : open_slots(sheet)) {
    if (!slot->is_asked()) continue;
    if (given++ == most) return typed + "leave\n";
    const auto answer = manual().find(slot->name());
    typed += (answer == manual().end() ? std::string() : answer->second) + "\n";
  }
  return typed;
}

const std::string root = PIVOTRACE_SOURCE_DIR;

}  // namespace

TEST_CASE("new --control: the manual of an invented control fills in its sheet, left and resumed") {
  const Demo demo;
  const std::string file = (demo.folder / "mine.toml").string();
  spill(file, slurp(root + "/routines/macro.toml"));
  CHECK(run_verb({"new", "--control", file}, {}, system_file_calls(), typed_for(file, 12)).code ==
        0);
  const ControlSheet begun = read_control_sheet(file).value();
  CHECK(begun.variables.working.first == 100);
  CHECK(begun.is_open("words.skip"));
  CHECK(run_verb({"new", "--control", file}, {}, system_file_calls(), typed_for(file)).code == 0);
  const ControlSheet sheet = read_control_sheet(file).value();
  for (const auto& [slot, answer] : manual()) {
    CAPTURE(slot);
    CHECK_FALSE(sheet.is_open(slot));
  }
  CHECK(sheet.log.begin == "NOTE ");
  CHECK(trip_source(sheet) == TripSource::variables);
  CHECK(prefers_loops(sheet));

  const std::string plan = (demo.folder / "plan.toml").string();
  const std::string program = (demo.folder / "probe.nc").string();
  const std::string log = (demo.folder / "probe.csv").string();
  const std::string machine = example_path("fourth-axis.machine.toml");
  REQUIRE(run_verb({"plan", machine, "--for", "crash", "-o", plan}).code == 0);
  REQUIRE(run_verb({"cycle", plan, "--control", file, "-o", program}).code == 0);
  CHECK(says(slurp(program), "NOT PROVEN"));
  // The shipped sheet of the same control reads what the filled-in one writes.
  const Screen rehearsed =
      run_verb({"rehearse", program, "--machine", machine, "--control",
                root + "/routines/demo-control.toml", "--plan", plan, "-o", log});
  INFO(rehearsed.out);
  INFO(rehearsed.err);
  CHECK(rehearsed.code == 0);
  CHECK(says(slurp(log), "# simulated: yes"));
  CHECK(run_verb({"fit", machine, log}).code == 0);
}

TEST_CASE("new --control: an answer that does not suit is asked for again") {
  const Demo demo;
  const std::string file = (demo.folder / "mine.toml").string();
  spill(file, slurp(root + "/routines/macro.toml"));
  const Screen screen =
      run_verb({"new", "--control", file}, {}, system_file_calls(), "many\n9 1\n1 2999\nleave\n");
  CHECK(screen.code == 0);
  CHECK(says(screen.err, "is no answer to variables.readable"));
  CHECK(read_control_sheet(file).value().variables.readable.last == 2999);
}

TEST_CASE("check: an open sheet says what is open, what needs it and what is done without") {
  const Screen screen = run_verb({"check", root + "/routines/macro.toml"});
  CHECK(screen.code == 0);
  CHECK(says(screen.out, "not proven"));
  CHECK(says(screen.out, "? skip.trip_variable"));
  CHECK(says(screen.out, "the operator types it at every touch"));
  CHECK(says(screen.out, "? words.skip"));
}

TEST_CASE("cycle and check --proof: a proof is noted in the sheet and lost by a change") {
  const Demo demo;
  const std::string sheet = (demo.folder / "mine.toml").string();
  const std::string program = (demo.folder / "proof.nc").string();
  spill(sheet, slurp(root + "/routines/demo-control.toml"));
  CHECK(run_verb({"cycle", "--proof", sheet, "-o", program}).code == 0);
  CHECK(says(slurp(program), "THE LAST ALARM IS MEANT"));
  const std::string empty = (demo.folder / "empty.log").string();
  spill(empty, "nothing\n");
  CHECK(run_verb({"check", sheet, "--proof", empty}).code == 2);
  CHECK(run_verb({"cycle"}).code == 2);
}

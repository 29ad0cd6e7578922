// A control sheet filled in from a one-page manual, by the questions alone, left and resumed; then it
// writes and rehearses what the shipped sheet of that control does.
#include <doctest/doctest.h>

#include <cstdlib>
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
      {"variables.working", "700 799"},
      {"variables.table", "1000 1499"},
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
      {"stops.value_in_text", "*{variable}*"},
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

/// Answers read off tests/control/third-manual.md; "" is answered where the manual says there is
/// nothing.
const std::map<std::string, std::string>& third_manual() {
  static const std::map<std::string, std::string> answers = {
      {"name", "third"},
      {"title", "made up for tests: V variables, FEEL skip move, no branches, short lines"},
      {"axis_letters", "XYZABC"},
      {"program_start", "PROGRAM {number}"},
      {"program_end", "ENDPROGRAM"},
      {"text.comment_open", "\"! \""},
      {"text.comment_close", "\"\""},
      {"text.max_line_length", "72"},
      {"text.max_comment_length", "0"},
      {"text.upper_case_only", "no"},
      {"text.comment_punctuation", ".,:;=+-*/()"},
      {"text.block_end", ";"},
      {"numbers.decimals_mm", "3"},
      {"numbers.decimals_inch", "4"},
      {"numbers.decimals_deg", "3"},
      {"numbers.decimals_feed", "0"},
      {"numbers.decimals_factor", "5"},
      {"numbers.point_always", "no"},
      {"variables.prefix", "V"},
      {"variables.index_open", "\"\""},
      {"variables.index_close", "\"\""},
      {"variables.readable", "0 4000"},
      {"variables.working", "10 699"},
      {"variables.table", "700 1999"},
      {"expressions.open", "("},
      {"expressions.close", ")"},
      {"expressions.sign_before_variable", "no"},
      {"expressions.word_needs_brackets", "no"},
      {"expressions.word_mark", "="},
      {"expressions.operators.add", "+"},
      {"expressions.operators.subtract", "-"},
      {"expressions.operators.multiply", "*"},
      {"expressions.operators.divide", "/"},
      {"expressions.comparisons.less", "<"},
      {"expressions.comparisons.less-or-equal", "<="},
      {"expressions.comparisons.greater", ">"},
      {"expressions.comparisons.greater-or-equal", ">="},
      {"expressions.functions.sine", "SINE"},
      {"expressions.functions.cosine", "COSINE"},
      {"expressions.functions.square-root", "ROOT"},
      {"expressions.functions.absolute", "SIZE"},
      {"assignment.form", "SET {variable} = {value}"},
      {"assignment.value_needs_brackets", "no"},
      {"motion.machine_coordinates_at_feed", "yes"},
      {"motion.clamp_words", "yes"},
      {"skip.target", "machine"},
      {"skip.trip_point", "machine"},
      {"skip.trip_variable", "X=3001 Y=3002 Z=3003"},
      {"skip.untriggered", "goes-on"},
      {"skip.triggered_at_start_is_error", "no"},
      {"position.machine_position", "X=3011 Y=3012 Z=3013 A=3014 B=3015 C=3016"},
      {"stops.operator_stop", "HOLD \"{text}\""},
      {"stops.demand", "DEMAND {condition} ELSE \"{text}\""},
      {"stops.root_of_negative_stops", "no"},
      {"log.open_form", "\"\""},
      {"log.close_form", "\"\""},
      {"log.begin", "\"WRITE \""},
      {"log.end", "\"\""},
      {"log.join", ","},
      {"log.text_item", "'{text}'"},
      {"log.value_item", "{variable}:{whole}.{decimals}"},
      {"log.separator", ";"},
      {"log.decimal_mark", ","},
      {"offsets.form", "ORIGIN {system} {axes}"},
      {"offsets.first_system", "1"},
      {"offsets.last_system", "4"},
      {"words.rapid", "FAST"},
      {"words.feed", "LINE"},
      {"words.skip", "FEEL"},
      {"words.absolute", "FIXED"},
      {"words.millimetres", "METRIC"},
      {"words.inches", "IMPERIAL"},
      {"words.feed-per-minute", "PERMINUTE"},
      {"words.radius-compensation-off", "NOCOMP"},
      {"words.rotation-off", "NOTURN"},
      {"words.program-stop", "HOLD"},
      {"words.program-end", "FINISH"},
  };
  return answers;
}

/// The answers to the questions a sheet still asks, a line each; at most `most` of them.
std::string typed_for(const std::string& file, std::size_t most = 1000,
                      const std::map<std::string, std::string>& manual_answers = manual()) {
  std::string typed;
  std::size_t given = 0;
  const ControlSheet sheet = read_control_sheet(file).value();
  for (const Slot* slot : open_slots(sheet)) {
    if (!slot->is_asked()) continue;
    if (given++ == most) return typed + "leave\n";
    const auto answer = manual_answers.find(slot->name());
    typed += (answer == manual_answers.end() ? std::string() : answer->second) + "\n";
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
  CHECK(begun.variables.working.first == 700);
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

TEST_CASE("new --control --from blank: the third test sheet, by the questions alone") {
  const Demo demo;
  const std::string blank = root + "/routines/blank.toml";
  const std::string file = (demo.folder / "third.toml").string();
  // Left after twenty answers, and gone on with by the same command.
  REQUIRE(run_verb({"new", "--control", file, "--from", blank}, {}, system_file_calls(),
                   typed_for(blank, 20, third_manual()))
              .code == 0);
  CHECK(read_control_sheet(file).value().is_open("words.skip"));
  const Screen asked = run_verb({"new", "--control", file}, {}, system_file_calls(),
                                typed_for(file, 1000, third_manual()));
  INFO(asked.err);
  REQUIRE(asked.code == 0);
  if (const char* keep = std::getenv("PIVOTRACE_KEEP")) {
    spill(std::filesystem::path(keep) / "third.toml", slurp(file));
  }
  CHECK(slurp(file) == slurp(root + "/tests/cycle/third.toml"));
  const ControlSheet sheet = read_control_sheet(file).value();
  for (const auto& [slot, answer] : third_manual()) {
    CAPTURE(slot);
    CHECK_FALSE(sheet.is_open(slot));
  }
}

TEST_CASE("a sheet without log, alarm and positions goes from plan to fit as it is typed") {
  const Demo demo;
  const std::string file = (demo.folder / "my-mill.toml").string();
  std::map<std::string, std::string> answers;
  for (const char* slot :
       {"variables.readable", "variables.working", "words.skip", "skip.untriggered",
        "skip.triggered_at_start_is_error", "branches.jump", "branches.jump_if", "branches.label",
        "expressions.comparisons.equal", "expressions.comparisons.not-equal",
        "expressions.comparisons.less", "expressions.comparisons.less-or-equal",
        "expressions.comparisons.greater", "expressions.comparisons.greater-or-equal"}) {
    answers[slot] = manual().at(slot);
  }
  answers["variables.results"] = "2400 2999";
  answers["offsets.own_system"] = "6";
  const std::string macro = root + "/routines/macro.toml";
  REQUIRE(run_verb({"new", "--control", file, "--from", macro}, {}, system_file_calls(),
                   typed_for(macro, 1000, answers))
              .code == 0);
  const ControlSheet sheet = read_control_sheet(file).value();
  CHECK(sheet.name == "my-mill");
  CHECK(trip_source(sheet) == TripSource::typed);

  const std::string plan = (demo.folder / "plan.toml").string();
  const std::string program = (demo.folder / "probe.nc").string();
  const std::string listing = (demo.folder / "probe.txt").string();
  const std::string machine = example_path("fourth-axis.machine.toml");
  REQUIRE(run_verb({"plan", machine, "--for", "crash", "-o", plan}).code == 0);
  REQUIRE(run_verb({"cycle", plan, "--control", file, "-o", program}).code == 0);
  const Screen rehearsed = run_verb({"rehearse", program, "--machine", machine, "--control", file,
                                     "--plan", plan, "-o", listing});
  INFO(rehearsed.out);
  REQUIRE(rehearsed.code == 0);
  // Where the touches stand in the listing, the plan's number tells: no word of the sheet is needed.
  const Screen fitted = run_verb({"fit", machine, listing, "--plan", plan});
  INFO(fitted.err);
  CHECK(fitted.code == 0);
  CHECK(says(fitted.out, "SIMULATED"));
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

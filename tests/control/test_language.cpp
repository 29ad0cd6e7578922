// The interpreter on the shipped control sheets and on one made up for the tests: branches, loops, skip
// moves, offsets, logs, alarms, and what is refused where.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include "control/recording_machine.h"
#include "control/rs274ngc_sheet.h"
#include "pivotrace/control/interpreter.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace {
namespace {

using test::RecordedMove;
using test::RecordingMachine;

ControlSheet shipped(const std::string& file) {
  Expected<ControlSheet> sheet = read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/" + file);
  REQUIRE(sheet.has_value());
  return *sheet;
}

struct Bench {
  explicit Bench(const ControlSheet& d) : sheet(d), variables(d.variables.readable) {}

  ProgramRun run(const std::string& text) {
    return run_program(text, "p.nc", sheet, machine, variables, options);
  }

  ControlSheet sheet;
  Variables variables;
  RecordingMachine machine;
  InterpreterOptions options;
};

Bench demo_bench() { return Bench(shipped("routines/demo-control.toml")); }
Bench third_bench() { return Bench(shipped("tests/control/third-behaviour.toml")); }

std::string first_problem(const ProgramRun& run) {
  return run.problems.empty() ? "" : describe(run.problems.front());
}

void check_place(const ProgramRun& run, int line, int column) {
  CAPTURE(first_problem(run));
  REQUIRE(run.problems.size() == 1);
  CHECK(run.problems.front().where.file == "p.nc");
  CHECK(run.problems.front().where.line == line);
  CHECK(run.problems.front().where.column == column);
}

TEST_CASE("demo control: a loop with a running sum and a jump") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run(
      "%\nPROGRAM 1 (SUM)\n#100=0\n#101=0\n"
      "AGAIN 1 AS LONG AS [#101 < 10]\n#101=#101+1\nWHEN [#101 == 5] LEAP "
      "20\n#100=#100+#101\nN20\nAGAIN 1 DONE\n"
      "M30\n%\n");
  CAPTURE(first_problem(run));
  CHECK(run.end == ProgramEnd::finished);
  // 1 + ... + 10 without 5.
  CHECK(bench.variables.value(100) == 50.0);
}

TEST_CASE("demo control: nested loops, each with its own number") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run(
      "#100=0\n#101=0\nAGAIN 1 AS LONG AS [#101 < 4]\n#102=0\nAGAIN 2 AS LONG AS [#102 < "
      "3]\n#100=#100+1\n"
      "#102=#102+1\nAGAIN 2 DONE\n#101=#101+1\nAGAIN 1 DONE\nM30\n");
  CAPTURE(first_problem(run));
  CHECK(run.end == ProgramEnd::finished);
  CHECK(bench.variables.value(100) == 12.0);
}

TEST_CASE("demo control: an endless loop meets the block limit") {
  Bench bench = demo_bench();
  bench.options.block_limit = 5000;
  const ProgramRun run = bench.run("N10 #100=1\nLEAP 10\nM30\n");
  CHECK(run.end == ProgramEnd::too_long);
  REQUIRE(run.problems.size() == 1);
  CHECK(run.problems.front().number == ProblemNumber::program_too_long);
}

TEST_CASE("demo control: a jump to a line that is not there, or there twice") {
  Bench bench = demo_bench();
  check_place(bench.run("LEAP 10\nM30\n"), 1, 1);
  check_place(bench.run("LEAP 10\nN10\nN10\nM30\n"), 1, 1);
}

TEST_CASE("demo control: loops that do not pair are found before anything moves") {
  Bench bench = demo_bench();
  CHECK(bench.run("G0 G53 G90 X-1.\nAGAIN 1 AS LONG AS [1 == 1]\nM30\n").end ==
        ProgramEnd::refused);
  CHECK(bench.run("G0 G53 G90 X-1.\nAGAIN 1 DONE\nM30\n").end == ProgramEnd::refused);
  CHECK(bench.machine.moves.empty());
}

TEST_CASE("demo control: every line that cannot be read is reported at once") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run("G90 X[1\nU5.\nG77\nX1. (REMARK\nM30\n");
  CHECK(run.end == ProgramEnd::refused);
  REQUIRE(run.problems.size() == 4);
  CHECK(run.problems[0].where.line == 1);
  CHECK(run.problems[0].where.column == 8);
  CHECK(run.problems[1].where.line == 2);
  CHECK(run.problems[1].where.column == 1);
  CHECK(run.problems[2].where.line == 3);
  CHECK(run.problems[3].where.column == 5);
}

TEST_CASE("demo control: a whole number in an axis word needs its decimal mark") {
  Bench bench = demo_bench();
  check_place(bench.run("G90 G21\nG0 X10\nM30\n"), 2, 4);
}

TEST_CASE("demo control: a move before units, distances or feed mode are known is refused") {
  Bench bench = demo_bench();
  CHECK(bench.run("G90\nG0 X1.\nM30\n").end == ProgramEnd::refused);
  CHECK(bench.run("G21\nG0 X1.\nM30\n").end == ProgramEnd::refused);
  CHECK(bench.run("G21 G90\nG1 X1. F100.\nM30\n").end == ProgramEnd::refused);
  CHECK(bench.run("G21 G90 G94\nG1 X1.\nM30\n").end == ProgramEnd::refused);
  CHECK(bench.machine.moves.empty());
  CHECK(bench.run("G21 G90 G94\nG1 X1. F100.\nM30\n").end == ProgramEnd::finished);
}

TEST_CASE("demo control: a skip move leaves its trip point in program coordinates") {
  Bench bench = demo_bench();
  bench.options.start.work_origins[0] = {-300.0, -200.0, -100.0, 0, 0, 0};
  bench.machine.position = {-300.0, -200.0, -100.0, 0, 0, 0};
  bench.machine.trip_at = AxisValues{-295.5, -200.0, -100.0, 0, 0, 0};
  const ProgramRun run =
      bench.run("G21 G90 G94 G54\nG38.2 X10. F50.\n#100=#2031\n#101=#2011-#2021\nM30\n");
  CAPTURE(first_problem(run));
  CHECK(run.end == ProgramEnd::finished);
  CHECK(bench.variables.value(100) == doctest::Approx(4.5));
  CHECK(bench.variables.value(101) == doctest::Approx(-300.0));
}

TEST_CASE("demo control: an untriggered skip move goes on, its variables hold the target") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run("G21 G90 G94\nG38.2 X10. F50.\n#100=#2031\nM30\n");
  CHECK(run.end == ProgramEnd::finished);
  CHECK(bench.variables.value(100) == 10.0);
}

TEST_CASE("demo control: inches scale lengths, feeds, positions and offsets") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run(
      "G20 G90 G94\nG10 L2 P1 X1. Y0.\nG54\nG1 X2. A10. F30.\n#100=#2021\n#101=#2011\nM30\n");
  CAPTURE(first_problem(run));
  CHECK(run.end == ProgramEnd::finished);
  REQUIRE(bench.machine.moves.size() == 1);
  CHECK(bench.machine.moves[0].target[0] == doctest::Approx(3.0 * 25.4));
  CHECK(bench.machine.moves[0].target[3] == doctest::Approx(10.0));
  CHECK(bench.machine.moves[0].rate.value == doctest::Approx(762.0));
  CHECK(bench.variables.value(100) == doctest::Approx(2.0));
  CHECK(bench.variables.value(101) == doctest::Approx(3.0));
}

TEST_CASE("demo control: words in force can be read and tested") {
  Bench bench = demo_bench();
  bench.options.start.in_force[ModalGroup::rotation] = Meaning::rotation_on;
  const ProgramRun run =
      bench.run("WHEN [#2104 == 172] LEAP 10\nFAULT 7 (ROTATION IS ACTIVE)\nN10\nM30\n");
  CHECK(run.end == ProgramEnd::alarm);
  check_place(run, 2, 1);
  CHECK(run.problems.front().number == ProblemNumber::program_stopped);
  CHECK(run.problems.front().what.find("ROTATION IS ACTIVE") != std::string::npos);
}

TEST_CASE("demo control: what would bend a probing move is refused") {
  for (const char* word : {"G41", "G43", "G171", "G173", "G2 X1."}) {
    Bench bench = demo_bench();
    CAPTURE(word);
    CHECK(bench.run(fmt::format("G21 G90 G94\n{}\nM30\n", word)).end == ProgramEnd::refused);
  }
}

TEST_CASE("demo control: the log is written as the control writes it") {
  Bench bench = demo_bench();
  const ProgramRun run = bench.run(
      "NOTES ON\nNOTE 'TOUCH' & 'NEAR BALL' & 'X'\n#100=3\n#101=-12.34567\n#102=-0.00001\n"
      "NOTE #100:5.0 & 'BALL' & #101:5.4 & #102:5.3\nNOTES OFF\nM30\n");
  CAPTURE(first_problem(run));
  REQUIRE(run.end == ProgramEnd::finished);
  REQUIRE(bench.machine.log_lines.size() == 2);
  CHECK(bench.machine.log_lines[0] == "TOUCH,NEAR BALL,X");
  CHECK(bench.machine.log_lines[1] == "3,BALL,-12.3457,0.000");
}

TEST_CASE("demo control: a log value that does not fit, or a log that was not opened") {
  Bench bench = demo_bench();
  check_place(bench.run("NOTES ON\n#100=123456.\nNOTE #100:5.3\nNOTES OFF\nM30\n"), 3, 6);
  CHECK(bench.run("NOTE 'A'\nM30\n").end == ProgramEnd::refused);
}

TEST_CASE("demo control: clamp words belong to the machine and stand alone") {
  Bench bench = demo_bench();
  CHECK(bench.run("M10\nM30\n").end == ProgramEnd::refused);
  bench.options.auxiliary_words = {"M10", "M11"};
  CHECK(bench.run("M11\nM10\nM30\n").end == ProgramEnd::finished);
  CHECK(bench.machine.functions == std::vector<std::string>{"M11", "M10"});
  CHECK(bench.run("G21 G90 G94\nM10 G1 A5. F100.\nM30\n").end == ProgramEnd::refused);
}

TEST_CASE("demo control: arithmetic faults are refused where they happen") {
  Bench bench = demo_bench();
  check_place(bench.run("#100=0\n#101=[1+2/#100]\nM30\n"), 2, 10);
  check_place(bench.run("#100=SQRT[0-1]\nM30\n"), 1, 6);
  check_place(bench.run("#100=#[0-3]\nM30\n"), 1, 6);
  check_place(bench.run("#9999999=1\nM30\n"), 1, 1);
}

TEST_CASE("demo control: stops, messages and block skip") {
  Bench bench = demo_bench();
  const std::string text = "/#100=1\nM0 (CHECK THE BALL)\nM30\n";
  CHECK(bench.run(text).end == ProgramEnd::finished);
  CHECK(bench.variables.value(100) == 1.0);
  bench.variables.set(100, 0.0);
  bench.options.skip_marked_lines = true;
  CHECK(bench.run(text).end == ProgramEnd::finished);
  CHECK(bench.variables.value(100) == 0.0);
  CHECK(bench.machine.messages.at(0) == "stop: CHECK THE BALL");
}

TEST_CASE("third control: other words, variables, brackets, logs and checks") {
  Bench bench = third_bench();
  bench.machine.trip_at = AxisValues{7.25, 0, 0, 0, 0, 0};
  const ProgramRun run = bench.run(
      "PROGRAM 12\n! a remark\nFIXED PERMINUTE;\nMETRIC;\nNOCOMP NOTURN;\n"
      "SET V10 = (3+1)*2;\nFEEL X=V10+2 F=60;\nSET V11 = V3001;\n"
      "SET V12 = ANGLE(1,-1);\nDEMAND V11 < 8 ELSE \"TOO FAR\";\n"
      "WRITE 'TOUCH',V11:4.3,'BALL 1';\nHOLD \"LOOK AT IT\";\nFINISH;\nENDPROGRAM\n");
  CAPTURE(first_problem(run));
  REQUIRE(run.end == ProgramEnd::finished);
  REQUIRE(bench.machine.moves.size() == 1);
  CHECK(bench.machine.moves[0].kind == RecordedMove::probe);
  CHECK(bench.machine.moves[0].target[0] == 10.0);
  CHECK(bench.variables.value(12) == doctest::Approx(135.0));
  CHECK(bench.machine.log_lines == std::vector<std::string>{"TOUCH;7,250;BALL 1"});
  CHECK(bench.machine.messages == std::vector<std::string>{"stop: LOOK AT IT"});
}

TEST_CASE("third control: a demand that does not hold, an unset variable, a missing block end") {
  Bench bench = third_bench();
  const ProgramRun run = bench.run("SET V11 = 9;\nDEMAND V11 < 8 ELSE \"TOO FAR\";\nFINISH;\n");
  CHECK(run.end == ProgramEnd::alarm);
  check_place(run, 2, 1);
  CHECK(run.problems.front().what.find("TOO FAR") != std::string::npos);
  check_place(bench.run("SET V20 = V21;\nFINISH;\n"), 1, 11);
  check_place(bench.run("SET V20 = 1\nFINISH;\n"), 1, 12);
}

TEST_CASE("third control: an offset form that is not made of words") {
  Bench bench = third_bench();
  bench.sheet.words[Meaning::work_offset_1] = {"FRAME1"};
  const ProgramRun run =
      bench.run("FIXED PERMINUTE METRIC;\nORIGIN 1 X=5 Y=2+1;\nFAST X=1 Y=1;\nFINISH;\n");
  CAPTURE(first_problem(run));
  REQUIRE(run.end == ProgramEnd::finished);
  REQUIRE(bench.machine.moves.size() == 1);
  CHECK(bench.machine.moves[0].target[0] == 6.0);
  CHECK(bench.machine.moves[0].target[1] == 4.0);
  CHECK(bench.run("METRIC;\nORIGIN 9 X=5;\nFINISH;\n").end == ProgramEnd::refused);
}

// RS274/NGC offsets, NISTIR 6556 sections 3.2.2 and 3.5.5, 3.5.18.
TEST_CASE("ngc: a written origin acts at once on the system in force, an assigned one does not") {
  Bench bench{test::rs274ngc()};
  const ProgramRun run = bench.run(
      "G21 G90 G94\nG55\nG10 L2 P2 X5\nG0 X1\n#5241=9\nG0 X2\nG54\nG0 X3\nG55\nG0 X4\nM2\n");
  CAPTURE(first_problem(run));
  REQUIRE(run.end == ProgramEnd::finished);
  const std::vector<double> x = {6.0, 7.0, 3.0, 13.0};
  REQUIRE(bench.machine.moves.size() == x.size());
  for (std::size_t i = 0; i < x.size(); ++i) CHECK(bench.machine.moves[i].target[0] == x[i]);
  CHECK(bench.variables.value(5220) == 2.0);
}

TEST_CASE("ngc: shifting the program origin, suspending and resuming it") {
  Bench bench{test::rs274ngc()};
  const ProgramRun run = bench.run(
      "G21 G90 G94\nG0 X10\nG92 X4\nG0 X5\nG92.2\nG0 X5\nG92.3\nG0 X5\nG92.1\nG0 X5\nG92.3\n"
      "G0 X5\nM2\n");
  CAPTURE(first_problem(run));
  REQUIRE(run.end == ProgramEnd::finished);
  const std::vector<double> x = {10.0, 11.0, 5.0, 11.0, 5.0, 5.0};
  REQUIRE(bench.machine.moves.size() == x.size());
  for (std::size_t i = 0; i < x.size(); ++i) CHECK(bench.machine.moves[i].target[0] == x[i]);
}

TEST_CASE("ngc: the parameter file survives a round trip and keeps its required rows") {
  Variables variables({1, 5399});
  const std::string text = "heading\n\n1000\t3.5\n5221\t-12.000001\n5399 7\n";
  const Expected<std::vector<int>> rows = read_parameter_file(text, "rs274.var", variables);
  REQUIRE(rows.has_value());
  CHECK(*rows == std::vector<int>{1000, 5221, 5399});
  CHECK(variables.value(5221) == -12.000001);
  const std::string written = parameter_file(variables, *rows);
  CHECK(written.find("1000\t3.500000\n") != std::string::npos);
  CHECK(written.find("5220\t0.000000\n") != std::string::npos);
  Variables again({1, 5399});
  REQUIRE(read_parameter_file(written, "again", again).has_value());
  for (int number = 1; number <= 5399; ++number) {
    CHECK(again.value(number) == doctest::Approx(variables.value(number)).epsilon(1e-12));
  }
}

TEST_CASE("ngc: a parameter file out of order or with a wrong row is refused with its line") {
  Variables variables({1, 5399});
  for (const char* text : {"5 1\n4 1\n", "5 1\n5 1\n", "1 2\n9999 1\n", "1 2\n2\n", "1 2\n2 x\n"}) {
    CAPTURE(text);
    const Expected<std::vector<int>> rows = read_parameter_file(text, "p.var", variables);
    REQUIRE_FALSE(rows.has_value());
    CHECK(rows.error().front().where.line == 2);
  }
}

TEST_CASE("damaged programs are refused or run, they never break the interpreter") {
  const std::string whole =
      "%\nPROGRAM 1 (SUM)\n#100=0\nG21 G90 G94\nAGAIN 1 AS LONG AS [#100 < 3]\n#100=#100+1\n"
      "WHEN [#100 == 2] LEAP 20\nG38.2 X[#100*2.5] F100.\nN20\nAGAIN 1 DONE\nNOTES ON\n"
      "NOTE 'TOUCH' & #100:5.4\nNOTES OFF\nFAULT 1 (NO BALL)\nM30\n%\n";
  const ControlSheet demo_control = shipped("routines/demo-control.toml");
  const std::string alphabet = "%#[]()GMXYZNF0123456789.-+*/= \n,ABCDEINOPQRTWHIL";
  for (std::uint64_t seed = 1; seed <= 4000; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    std::string text = whole;
    const int damages = 1 + static_cast<int>(random.uniform() * 4.0);
    for (int k = 0; k < damages; ++k) {
      const auto at = static_cast<std::size_t>(random.uniform() * static_cast<double>(text.size()));
      const auto pick =
          static_cast<std::size_t>(random.uniform() * static_cast<double>(alphabet.size()));
      if (random.uniform() < 0.3) {
        text.erase(at, 1);
      } else {
        text[at] = alphabet[pick];
      }
    }
    Bench bench(demo_control);
    bench.options.block_limit = 300;
    const ProgramRun run = bench.run(text);
    CHECK(run.end != ProgramEnd::not_started);
    CHECK((run.end == ProgramEnd::finished) == run.problems.empty());
  }
}

TEST_CASE("the shipped ngc control sheet and the one retyped from the report agree") {
  const ControlSheet from_file = shipped("routines/ngc.toml");
  const ControlSheet retyped = test::rs274ngc();
  for (const auto& [meaning, spellings] : retyped.words) {
    CAPTURE(key_of(meaning));
    REQUIRE(from_file.words.count(meaning) == 1);
    CHECK(from_file.words.at(meaning).front() == spellings.front());
  }
  CHECK(from_file.expressions.functions == retyped.expressions.functions);
  CHECK(from_file.expressions.operators == retyped.expressions.operators);
  CHECK(from_file.skip.min_distance_mm == retyped.skip.min_distance_mm);
  CHECK(from_file.variables.readable.last == retyped.variables.readable.last);
}

}  // namespace
}  // namespace pivotrace

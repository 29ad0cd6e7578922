// Whatever text it is given, the interpreter ends, says where the fault is, and lets nothing pass
// that its control sheet does not describe. Every random case prints its seed.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <set>

#include "control/recording_machine.h"
#include "pivotrace/survey/random_stream.h"
#include "rehearsal/demo_loop.h"

namespace pivotrace {
namespace {

using test::RecordingMachine;

const char* const control_files[] = {"routines/demo-control.toml", "routines/ngc.toml",
                                     "tests/cycle/third.toml"};

ControlSheet sheet_in(const std::string& file) {
  return read_control_sheet(test::in_source(file)).value();
}

/// Units, distances and feed known: any move may follow.
InterpreterOptions ready() {
  InterpreterOptions options;
  options.start.in_force[ModalGroup::units] = Meaning::millimetres;
  options.start.in_force[ModalGroup::distance] = Meaning::absolute;
  options.start.in_force[ModalGroup::feed_mode] = Meaning::feed_per_minute;
  options.block_limit = 20'000;
  return options;
}

ProgramRun run(const std::string& text, const ControlSheet& sheet) {
  RecordingMachine machine;
  Variables variables(sheet.variables.readable);
  return run_program(text, "p.nc", sheet, machine, variables, ready());
}

/// What must hold of every run, however mad the text.
void check_outcome(const ProgramRun& outcome, const std::string& text) {
  const auto lines = static_cast<int>(std::count(text.begin(), text.end(), '\n')) + 1;
  CHECK(outcome.end != ProgramEnd::not_started);
  CHECK((outcome.end == ProgramEnd::finished) == outcome.problems.empty());
  for (const Problem& problem : outcome.problems) {
    CHECK(problem.number != ProblemNumber::not_set);
    CHECK_FALSE(problem.what.empty());
    CHECK_FALSE(problem.advice.empty());
    CHECK(problem.where.file == "p.nc");
    CHECK(problem.where.line >= 1);
    CHECK(problem.where.line <= lines);
    CHECK(problem.where.column >= 1);
  }
}

/// A program as `pivotrace cycle` writes it, with a plan short enough for thousands of runs.
std::string emitted(const ControlSheet& sheet) {
  const Machine machine =
      read_machine(test::in_source("examples/fourth-axis.machine.toml")).value();
  PlanRequest request;
  request.stations = 4;
  const Expected<test::DemoLoop> loop = test::demo_loop(machine, sheet, request);
  REQUIRE(loop.has_value());
  return loop->program.text;
}

std::string damaged(std::string text, RandomStream& random) {
  const std::string alphabet =
      "%#[]()GMXYZNFR0123456789.-+*/= \n,;:<>'\"ABCDEHILOPQSTUVW\t\x01\xC3";
  const auto pick = [&random](std::size_t size) {
    return static_cast<std::size_t>(random.uniform() * static_cast<double>(size));
  };
  const int damages = 1 + static_cast<int>(pick(5));
  for (int k = 0; k < damages && !text.empty(); ++k) {
    const std::size_t at = pick(text.size());
    const double how = random.uniform();
    if (how < 0.25) {
      text.erase(at, 1 + pick(6));
    } else if (how < 0.5) {
      text.insert(at, 1, alphabet[pick(alphabet.size())]);
    } else if (how < 0.75) {
      text[at] = alphabet[pick(alphabet.size())];
    } else if (how < 0.9) {  // a piece of the program at another place
      text.insert(at, text.substr(pick(text.size()), 1 + pick(40)));
    } else {
      text.resize(at);
    }
  }
  return text;
}

TEST_CASE("damaged programs of every control sheet end, and say where the fault is") {
  for (const char* file : control_files) {
    const ControlSheet sheet = sheet_in(file);
    const std::string whole = emitted(sheet);
    for (std::uint64_t seed = 1; seed <= 150; ++seed) {
      CAPTURE(file);
      CAPTURE(seed);
      RandomStream random(seed);
      const std::string text = damaged(whole, random);
      check_outcome(run(text, sheet), text);
    }
  }
}

TEST_CASE("random text in the letters of a program ends in words, not in a crash") {
  const std::string alphabet = "GMXYZABCFPLRNOEQSIFWHTDUV#[]()*/+-.=,;%0123456789 \n\n";
  for (const char* file : control_files) {
    const ControlSheet sheet = sheet_in(file);
    for (std::uint64_t seed = 1; seed <= 2000; ++seed) {
      CAPTURE(file);
      CAPTURE(seed);
      RandomStream random(seed);
      std::string text;
      const int size = 1 + static_cast<int>(random.uniform() * 120.0);
      for (int k = 0; k < size; ++k) {
        const bool any_byte = seed % 4 == 0;
        const double draw = random.uniform();
        text +=
            any_byte
                ? static_cast<char>(1 + static_cast<int>(draw * 254.0))
                : alphabet[static_cast<std::size_t>(draw * static_cast<double>(alphabet.size()))];
      }
      check_outcome(run(text, sheet), text);
    }
  }
}

TEST_CASE("damaged programs on the virtual machine stop or finish, whatever they hit") {
  const Machine machine =
      read_machine(test::in_source("examples/fourth-axis.machine.toml")).value();
  for (const char* file : control_files) {
    const ControlSheet sheet = sheet_in(file);
    PlanRequest request;
    request.stations = 4;
    const Expected<test::DemoLoop> loop = test::demo_loop(machine, sheet, request);
    REQUIRE(loop.has_value());
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
      CAPTURE(file);
      CAPTURE(seed);
      RandomStream random(seed);
      RehearsalOptions options = test::options_for(*loop);
      options.block_limit = 20'000;
      const Expected<RehearsalReport> report =
          rehearse(damaged(loop->program.text, random), "p.nc", machine, sheet,
                   nominal_truth(machine), options);
      REQUIRE(report.has_value());
      CHECK(report->passed ==
            (report->run.end == ProgramEnd::finished && report->violations.empty()));
      CHECK(report->end.shown_mm.allFinite());
      CHECK(std::isfinite(report->seconds));
      if (report->run.end == ProgramEnd::machine) CHECK_FALSE(report->violations.empty());
    }
  }
}

TEST_CASE("every G and M number the control sheet does not list is refused, with line and column") {
  for (const char* file : {"routines/demo-control.toml", "routines/ngc.toml"}) {
    const ControlSheet sheet = sheet_in(file);
    std::set<std::string> listed;
    for (const auto& [meaning, spellings] : sheet.words) {
      listed.insert(spellings.begin(), spellings.end());
    }
    int refused = 0;
    for (const char letter : {'G', 'M'}) {
      for (int tenths = 0; tenths < 1500; ++tenths) {
        const std::string word = tenths % 10 == 0
                                     ? fmt::format("{}{}", letter, tenths / 10)
                                     : fmt::format("{}{}.{}", letter, tenths / 10, tenths % 10);
        if (listed.count(word) != 0) continue;
        CAPTURE(file);
        CAPTURE(word);
        const ProgramRun outcome = run("\n  " + word + "\nM2\n", sheet);
        REQUIRE(outcome.end == ProgramEnd::refused);
        REQUIRE(outcome.problems.size() == 1);
        CHECK(outcome.problems[0].where.line == 2);
        CHECK(outcome.problems[0].where.column == 3);
        ++refused;
      }
    }
    CHECK(refused > 2500);
  }
}

TEST_CASE(
    "a letter or a mark that belongs to no word of the control sheet is refused where it stands") {
  for (const char* file : {"routines/demo-control.toml", "routines/ngc.toml"}) {
    const ControlSheet sheet = sheet_in(file);
    for (const char* text :
         {"U1.", "V1.", "W1.", "E1.", "@", "$1", "&", "!", "?", "\"A\"", "{1}", "\\", "\xC3\xA4"}) {
      CAPTURE(file);
      CAPTURE(text);
      const ProgramRun outcome = run(fmt::format("G90\nG0 X1. {}\nM2\n", text), sheet);
      REQUIRE(outcome.end == ProgramEnd::refused);
      CHECK(outcome.problems[0].where.line == 2);
      CHECK(outcome.problems[0].where.column == 8);
    }
  }
}

TEST_CASE("two words of one modal group in one line are refused, at the second") {
  for (const char* file : {"routines/demo-control.toml", "routines/ngc.toml"}) {
    const ControlSheet sheet = sheet_in(file);
    int pairs = 0;
    for (const auto& [first, first_spellings] : sheet.words) {
      for (const auto& [second, second_spellings] : sheet.words) {
        const ModalGroup group = group_of(first);
        if (first == second || group == ModalGroup::none || group != group_of(second)) continue;
        const std::string line = first_spellings.front() + " " + second_spellings.front();
        CAPTURE(file);
        CAPTURE(line);
        const ProgramRun outcome = run(line + "\nM2\n", sheet);
        REQUIRE(outcome.end == ProgramEnd::refused);
        CHECK(outcome.problems[0].where.line == 1);
        CHECK(outcome.problems[0].where.column >= 1);
        ++pairs;
      }
    }
    CHECK(pairs > 50);
  }
}

TEST_CASE("what is nested, chained or long beyond reason is refused, not run into the stack") {
  for (const char* file : control_files) {
    const ControlSheet sheet = sheet_in(file);
    const std::string& prefix = sheet.variables.prefix;
    const std::string& open = sheet.expressions.open;
    const std::string& close = sheet.expressions.close;
    const auto repeated = [](const std::string& piece, int times) {
      std::string text;
      for (int k = 0; k < times; ++k) text += piece;
      return text;
    };
    const int many = 200'000;
    const std::string lines[] = {
        "X" + repeated(open, many) + "1" + repeated(close, many),
        "X" + open + "1" + repeated("+1", many) + close,
        "X" + open + "1" + repeated("*1", many) + close,
        "X" + repeated(prefix, many) + "1",
        "X" + repeated("-", many) + "1",
        "X" + repeated("9", many),
        "X1" + repeated("0", 400),
        repeated("(", many) + repeated(")", many),
        repeated("G1 ", many),
        repeated("N1 ", many),
        repeated("/", many),
        repeated("%", many),
    };
    for (const std::string& line : lines) {
      CAPTURE(file);
      CAPTURE(line.substr(0, 20));
      const ProgramRun outcome = run(line + "\nM2\n", sheet);
      CHECK(outcome.end != ProgramEnd::not_started);
      CHECK((outcome.end == ProgramEnd::finished) == outcome.problems.empty());
    }
  }
}

TEST_CASE("demo control: a long chain of loops, jumps and lines takes no longer than its blocks") {
  const ControlSheet demo_control = sheet_in("routines/demo-control.toml");
  std::string text = "#100=0\n";
  for (int k = 1; k <= 20'000; ++k) text += fmt::format("N{} #100=#100+1\n", k);
  InterpreterOptions options = ready();
  options.block_limit = 100'000;
  RecordingMachine machine;
  Variables variables(demo_control.variables.readable);
  const auto start = std::chrono::steady_clock::now();
  const ProgramRun outcome =
      run_program(text + "LEAP 20000\nM30\n", "p.nc", demo_control, machine, variables, options);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  // The jump goes back to line 20000 for ever.
  CHECK(outcome.end == ProgramEnd::too_long);
  CHECK(outcome.blocks == 100'001);
  // Far above what it takes, far below what a search through all lines at each jump would.
  CHECK(took.count() < 20.0);
}

}  // namespace
}  // namespace pivotrace

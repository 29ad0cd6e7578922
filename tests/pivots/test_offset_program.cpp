// The rules checked here are those of RS274/NGC version 3, NISTIR 6556 (Kramer, Proctor, Messina,
// 2000): line length, comments, modal groups, G10 L2 with P 1..9, ending with M2.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <regex>
#include <sstream>

#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/pivots/offset_program.h"
#include "pivots/sample_result.h"
#include "reference_data.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

const ControlSheet& ngc() {
  static const ControlSheet sheet =
      read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml").value();
  return sheet;
}

OffsetProgramOptions first_offset() {
  OffsetProgramOptions options;
  options.work_offset = 1;
  return options;
}

std::string program(const FitResult& result, OffsetProgramOptions options = first_offset()) {
  options.date = "2026-03-02T09:00:00Z";
  const auto text = offset_program(result, ngc(), options);
  REQUIRE(text.has_value());
  return *text;
}

ProblemNumber refusal(const FitResult& result, const OffsetProgramOptions& options) {
  const auto text = offset_program(result, ngc(), options);
  REQUIRE(!text.has_value());
  return text.error()[0].number;
}

std::vector<std::string> command_lines(const std::string& text) {
  std::vector<std::string> commands;
  for (const std::string& line : lines_of(text)) {
    if (!line.starts_with("(") && line != "%") commands.push_back(line.substr(0, line.find(" (")));
  }
  return commands;
}

/// Every line is one comment, or words of letter and number; each letter once per line, but for G
/// words of different modal groups (NISTIR 6556): distance mode and units.
void check_lines(const std::string& text) {
  static const std::regex comment(R"(\([\x20-\x27\x2A-\x7E]*\))");
  static const std::regex words(R"(([A-Z]-?[0-9]+(\.[0-9]+)?)( [A-Z]-?[0-9]+(\.[0-9]+)?)*)");
  for (const std::string& whole : lines_of(text)) {
    INFO(whole);
    CHECK(whole.size() <= 253);
    if (whole == "%") continue;  // the marks round the program
    const std::size_t remark = whole.find(" (");
    const std::string line = whole.substr(0, remark);
    if (remark != std::string::npos) CHECK(std::regex_match(whole.substr(remark + 1), comment));
    CHECK((std::regex_match(line, comment) || std::regex_match(line, words)));
    if (line.starts_with("(")) continue;
    for (char letter = 'A'; letter <= 'Z'; ++letter) {
      const bool two_groups = letter == 'G' && (line == "G90 G21" || line == "G90 G20");
      CHECK(std::count(line.begin(), line.end(), letter) <= (two_groups ? 2 : 1));
    }
  }
}

}  // namespace

TEST_CASE("one axis along X sets Y and Z and leaves X alone") {
  const auto commands = command_lines(program(one_axis_result()));
  REQUIRE(commands.size() == 5);
  CHECK(commands[0] == "M0");  // the sheet has not been proven on a control
  CHECK(commands[1] == "G90 G21");
  CHECK(commands[2] == "M0");  // the operator reads before anything changes
  CHECK(commands[3] == "G10 L2 P1 Y-200.0123 Z-250.0342");
  CHECK(commands[4] == "M2");
}

TEST_CASE("an axis along Z sets X and Y") {
  OffsetProgramOptions options;
  options.axis = 'C';
  options.work_offset = 9;
  const auto commands = command_lines(program(trunnion_result(), options));
  CHECK(commands[3] == "G10 L2 P9 X-299.987 Y-199.95");
}

TEST_CASE("the foot of the common normal determines all three coordinates") {
  OffsetProgramOptions options = first_offset();
  options.axis = 'A';
  options.foot_towards = 'C';
  const FitResult result = trunnion_result();
  const Eigen::Vector3d foot =
      common_normal(result.axes[0].line, result.axes[1].line).foot_on_first_mm;
  const std::string line = command_lines(program(result, options))[3];
  const std::regex words(R"(G10 L2 P1 X(\S+) Y(\S+) Z(\S+))");
  std::smatch match;
  REQUIRE(std::regex_match(line, match, words));
  for (int i = 0; i < 3; ++i) CHECK(std::abs(std::stod(match[i + 1]) - foot[i]) <= 0.5e-4);
}

TEST_CASE("inch programs say G20 and hold the value within half a last place") {
  OffsetProgramOptions options = first_offset();
  options.unit = LengthUnit::inch;
  const auto commands = command_lines(program(one_axis_result(), options));
  CHECK(commands[1] == "G90 G20");
  std::smatch match;
  REQUIRE(std::regex_search(commands[3], match, std::regex("Y(\\S+)")));
  CHECK(std::abs(std::stod(match[1]) * 25.4 + 200.0123) <= 0.5e-5 * 25.4);
}

TEST_CASE("every line obeys RS274/NGC, whatever the machine is called") {
  FitResult result = one_axis_result();
  result.machine_name =
      "Mill (old) %\n; M30 (second) (Fräse) " + std::string(400, 'x') + " G10 L2 P2 X0";
  const std::string text = program(result);
  check_lines(text);
  CHECK(command_lines(text).size() == 5);  // nothing of the name became a command
}

TEST_CASE("the header names machine, date, plane, uncertainty and the dangers") {
  const std::string text = program(one_axis_result());
  for (const char* wanted :
       {"invented trial machine", "2026-03-02T09:00:00Z", "quoted at X = -300.0000 mm", "U95",
        "acts at once", "CAUTION", "local safety rules and qualified people", "old offset",
        "stylus ball", "X of this offset stays as it is"}) {
    CHECK_MESSAGE(text.find(wanted) != std::string::npos, wanted);
  }
}

TEST_CASE("the stop with its message stands before the offset is set") {
  const std::string text = program(one_axis_result());
  const auto stop = text.find("\nM0 (MSG,read the remarks first");
  const auto set = text.find("\nG10 ");
  REQUIRE(stop != std::string::npos);
  CHECK(stop < set);
}

TEST_CASE("offset programs that would be wrong are refused") {
  CHECK(refusal(one_axis_result(), {}) == ProblemNumber::bad_argument);  // which offset?
  OffsetProgramOptions options = first_offset();
  CHECK(refusal(trunnion_result(), options) == ProblemNumber::no_such_value);  // which axis?
  options.axis = 'B';
  CHECK(refusal(trunnion_result(), options) == ProblemNumber::no_such_value);
  options.axis = 'A';
  options.foot_towards = 'B';
  CHECK(refusal(trunnion_result(), options) == ProblemNumber::no_such_value);
  CHECK(refusal(sample_result({sample_head_axis()}), first_offset()) ==
        ProblemNumber::no_such_value);
  options = first_offset();
  // P 1..9 by NISTIR 6556; its interpreter answers 0 and 10 with 'P value out of range'.
  for (const int wrong : {-1, 0, 10}) {
    options.work_offset = wrong;
    CHECK(refusal(one_axis_result(), options) == ProblemNumber::bad_argument);
  }
  FitResult unusable = one_axis_result();
  unusable.usable = false;
  CHECK(refusal(unusable, first_offset()) == ProblemNumber::not_usable);
  FitResult rehearsed = one_axis_result();
  rehearsed.simulated = true;
  options = first_offset();
  CHECK(refusal(rehearsed, options) == ProblemNumber::not_usable);
  options.simulated_allowed = true;
  CHECK(program(rehearsed, options).find("SIMULATED") != std::string::npos);
}

TEST_CASE("work offsets have their usual words") {
  CHECK(work_offset_word(1) == "G54");
  CHECK(work_offset_word(6) == "G59");
  CHECK(work_offset_word(7) == "G59.1");
  CHECK(work_offset_word(9) == "G59.3");
}

TEST_CASE("work offsets are accepted exactly as the original interpreter accepts them") {
  // Answers of the public-domain NIST RS274/NGC version 3 interpreter to single lines.
  const std::string oracle = "rs274ngc/nist-v3-oracle.txt";
  if (!have_reference(oracle)) return;
  std::ifstream stream(reference_path(oracle));
  const std::regex set_offset(R"(g10 l2 p(\d+) x5\s+-> (ERROR)?.*)");
  int compared = 0;
  std::smatch match;
  for (std::string line; std::getline(stream, line);) {
    if (!std::regex_match(line, match, set_offset)) continue;
    OffsetProgramOptions options;
    options.work_offset = std::stoi(match[1]);
    INFO(line);
    CHECK(offset_program(one_axis_result(), ngc(), options).has_value() == !match[2].matched);
    ++compared;
  }
  CHECK(compared >= 3);
}

// The emitted text itself: every safety point of the cycle, looked for line by line.
#include <doctest/doctest.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <sstream>

#include "cycle/demo_plans.h"
#include "pivotrace/control/emit.h"
#include "pivotrace/cycle/make_program.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/report/setup_sheet.h"

using namespace pivotrace;

namespace {

constexpr const char* machines[] = {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"};
constexpr const char* controls[] = {"demo-control", "ngc", "third"};

Plan planned(const Machine& machine, Purpose purpose = Purpose::periodic_check) {
  PlanRequest request;
  request.purpose = purpose;
  const auto outcome = make_plan(machine, request);
  if (!outcome) {
    for (const Problem& problem : outcome.error()) MESSAGE(describe(problem));
  }
  REQUIRE(outcome.has_value());
  return outcome->plan;
}

EmittedProgram made(const Machine& machine, const Plan& plan, const ControlSheet& sheet,
                    const CycleOptions& options = {}) {
  const auto program = make_program(machine, plan, sheet, options);
  if (!program) {
    for (const Problem& problem : program.error()) MESSAGE(describe(problem));
  }
  REQUIRE(program.has_value());
  return *program;
}

/// Lines without remarks and blank lines.
std::vector<std::string> blocks_of(const EmittedProgram& program, const ControlSheet& sheet) {
  std::vector<std::string> blocks;
  std::istringstream text(program.text);
  for (std::string line; std::getline(text, line);) {
    if (line.empty() || line == "%" || line.starts_with(sheet.text.comment_open)) continue;
    blocks.push_back(line);
  }
  return blocks;
}

std::size_t first_with(const std::vector<std::string>& blocks, const std::string& part) {
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    if (blocks[i].find(part) != std::string::npos) return i;
  }
  return blocks.size();
}

}  // namespace

TEST_CASE("every control sheet spells every example, and the text is kept on request") {
  for (const char* name : machines) {
    const Machine machine = testing::example(name);
    const Plan plan = planned(machine);
    for (const char* language : controls) {
      CAPTURE(name);
      CAPTURE(language);
      const ControlSheet sheet = demo::sheet(language);
      const EmittedProgram program = made(machine, plan, sheet);
      const bool named = program.text.find(identity_of(plan)) != std::string::npos ||
                         program.text.find("PLAN") != std::string::npos;
      CHECK(named);
      if (const char* folder = std::getenv("PIVOTRACE_KEEP")) {
        const std::string file = std::string(folder) + "/" + name + "." + language;
        std::ofstream(file + ".txt") << program.text;
        std::ofstream(file + ".html") << setup_sheet(machine, plan, sheet, program, {});
      }
    }
  }
}

TEST_CASE("no word of a program says where up is: the spindle may be horizontal") {
  // What is left of these words stands for something else.
  const std::regex harmless("write down|see text above|is not below 0|rapid override|gives up");
  const std::regex upright("\\b(above|below|over|under|up|down|upper|lower|top)\\b");
  for (const char* name : machines) {
    const Machine machine = testing::example(name);
    const Plan plan = planned(machine);
    for (const char* control : controls) {
      const EmittedProgram program = made(machine, plan, demo::sheet(control));
      std::istringstream lines(program.text);
      for (std::string line; std::getline(lines, line);) {
        std::transform(line.begin(), line.end(), line.begin(), ::tolower);
        const std::string left = std::regex_replace(line, harmless, "");
        CAPTURE(name);
        CAPTURE(control);
        CHECK_MESSAGE(!std::regex_search(left, upright), line);
      }
    }
  }
}

TEST_CASE("a machine in inches: round feeds in inches a minute, five decimals in the record") {
  Machine machine = testing::example("fourth-axis");
  machine.inch = true;
  const ControlSheet sheet = demo::sheet("demo-control");
  const EmittedProgram program = made(machine, planned(machine), sheet);
  const std::regex feed(R"(#\d+=([\d.]+) \(FEED [A-Z ]+, INCH PER MINUTE\))");
  const std::regex logged(R"(#\d+:5\.(\d))");
  int feeds = 0;
  std::map<std::string, int> decimals;
  std::istringstream lines(program.text);
  for (std::string line; std::getline(lines, line);) {
    std::smatch found;
    if (std::regex_search(line, found, feed)) {
      ++feeds;
      // Two digits a person would set: 20, 1.9, 110.
      const double value = std::stod(found[1]);
      const double step = std::pow(10.0, std::floor(std::log10(value)) - 1.0);
      CHECK_MESSAGE(std::fabs(value / step - std::round(value / step)) < 1e-9, line);
    }
    if (!line.starts_with("NOTE #")) continue;
    for (std::sregex_iterator at(line.begin(), line.end(), logged), end; at != end; ++at) {
      ++decimals[(*at)[1]];
    }
  }
  CHECK(feeds == 3);
  // Per line: X Y Z with five, the angle with four, two counts with none.
  CHECK(decimals["5"] > 0);
  CHECK(decimals["5"] == 3 * decimals["4"]);
}

TEST_CASE("bores and flats are spelled in every control sheet") {
  Machine machine = testing::example("trunnion");
  const int c = machine.rotary_index('C');
  Artefact ring;
  ring.name = "ring";
  ring.kind = ArtefactKind::bore;
  ring.carried_by = c;
  ring.at_mm = machine.rotary[c].centre_mm + Eigen::Vector3d(60, 0, 40);
  ring.length_mm = 30.0;
  ring.diameter_mm = 40.0;
  ring.diameter_u_mm = 0.001;
  machine.artefacts = {ring};
  machine.obstacles.clear();
  PlanRequest request;
  request.axes = {'C'};
  const auto outcome = make_plan(machine, request);
  REQUIRE(outcome.has_value());
  for (const char* language : controls) {
    CAPTURE(language);
    made(machine, outcome->plan, demo::sheet(language));
  }
}

TEST_CASE("demo control: modal states are refused before anything moves") {
  const Machine machine = testing::example("fourth-axis");
  const ControlSheet sheet = demo::sheet("demo-control");
  const auto blocks = blocks_of(made(machine, planned(machine), sheet), sheet);
  const std::size_t first_move = std::min(
      first_with(blocks, "G38.2"), std::min(first_with(blocks, "G53"), first_with(blocks, "G1 ")));
  for (const char* variable : {"#2102", "#2103", "#2104"}) {
    CAPTURE(variable);
    CHECK(first_with(blocks, variable) < first_move);
  }
  CHECK(first_with(blocks, "G21") < first_move);
  CHECK(first_with(blocks, "M5") < first_move);
  CHECK(first_with(blocks, "M19") < first_move);
}

TEST_CASE("demo control: every skip move is looked at before the next move") {
  for (const char* name : machines) {
    CAPTURE(name);
    const Machine machine = testing::example(name);
    const ControlSheet sheet = demo::sheet("demo-control");
    const auto blocks = blocks_of(made(machine, planned(machine), sheet), sheet);
    for (std::size_t i = 0; i + 1 < blocks.size(); ++i) {
      if (!blocks[i].starts_with("G38.2")) continue;
      CAPTURE(blocks[i]);
      CHECK(blocks[i + 1].starts_with("WHEN [ABS["));
    }
  }
}

TEST_CASE("demo control: rapid moves are machine moves at the safe height or turns, nothing else") {
  for (const char* name : machines) {
    CAPTURE(name);
    const Machine machine = testing::example(name);
    const ControlSheet sheet = demo::sheet("demo-control");
    const EmittedProgram program = made(machine, planned(machine), sheet);
    const std::string safe = "Z#" + std::to_string(program.variable_numbers.at("safe height"));
    bool at_safe_height = false;
    for (const std::string& block : blocks_of(program, sheet)) {
      const bool rapid = block.find("G0 ") != std::string::npos;
      const bool moves_linear = std::regex_search(block, std::regex(" [XYZ][#\\[-]"));
      if (rapid) {
        CAPTURE(block);
        CHECK(block.starts_with("G53 G0 "));
        const bool up = block == "G53 G0 " + safe;
        const bool turn = std::regex_match(block, std::regex("G53 G0 [ABC].*"));
        const bool sideways = std::regex_match(block, std::regex("G53 G0 X#[0-9]+ Y#[0-9]+"));
        CHECK((up || turn || sideways));
        // Turning and going sideways only happens right after going up.
        if (turn || sideways) CHECK(at_safe_height);
        if (up) at_safe_height = true;
      } else if (moves_linear) {
        at_safe_height = false;
      }
    }
  }
}

TEST_CASE(
    "demo control: every alarm retracts before it stops, but for refusals, where nothing has "
    "moved") {
  const Machine machine = testing::example("fourth-axis");
  const ControlSheet sheet = demo::sheet("demo-control");
  const auto blocks = blocks_of(made(machine, planned(machine), sheet), sheet);
  const std::size_t end = first_with(blocks, "M30");
  std::set<std::string> targets;
  for (std::size_t i = 0; i < end; ++i) {
    std::smatch found;
    if (std::regex_search(blocks[i], found, std::regex("LEAP (9[0-9][0-9])")))
      targets.insert(found[1]);
  }
  CHECK(targets.size() >= 8);
  for (const std::string& label : targets) {
    CAPTURE(label);
    const std::size_t at = first_with(blocks, "N" + label);
    REQUIRE(at < blocks.size());
    CHECK(at > end);
    bool retracts = false;
    std::size_t i = at + 1;
    for (; i < blocks.size() && !blocks[i].starts_with("FAULT"); ++i) {
      retracts = retracts || blocks[i].starts_with("G1 ");
      CHECK_FALSE(blocks[i].starts_with("G53 G0"));
    }
    REQUIRE(i < blocks.size());
    const bool refusal = blocks[i].find("ACTIVE") != std::string::npos ||
                         blocks[i].find("IS NOT AT STATION 1") != std::string::npos;
    CHECK(retracts != refusal);
  }
}

TEST_CASE("a touch is found fast, left, and measured slowly, the measured point is kept") {
  const Machine machine = testing::example("fourth-axis");
  const ControlSheet sheet = demo::sheet("demo-control");
  const EmittedProgram program = made(machine, planned(machine), sheet);
  const auto blocks = blocks_of(program, sheet);
  const auto feed = [&](const char* name) {
    return " F#" + std::to_string(program.variable_numbers.at(name));
  };
  std::size_t slow = 0;
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    if (slow == 0 && blocks[i].starts_with("G38.2") && blocks[i].ends_with(feed("measure feed"))) {
      slow = i;
    }
  }
  REQUIRE(slow > 0);
  // Before the slow touch: a feed move back; before that: the fast find.
  std::size_t back = slow;
  while (back > 0 && !blocks[back].starts_with("G1 ")) --back;
  std::size_t fast = back;
  while (fast > 0 && !blocks[fast].starts_with("G38.2")) --fast;
  CHECK(blocks[back].ends_with(feed("position feed")));
  CHECK(blocks[fast].ends_with(feed("find feed")));
  CHECK(first_with(blocks, "NOTE #") > slow);
}

TEST_CASE("demo control: a fast and a slow touch of one point are compared before it is recorded") {
  const Machine machine = testing::example("fourth-axis");
  const ControlSheet sheet = demo::sheet("demo-control");
  const EmittedProgram program = made(machine, planned(machine), sheet);
  const auto blocks = blocks_of(program, sheet);
  const std::string limit = "#" + std::to_string(program.variable_numbers.at("agreement"));
  const std::size_t compared = first_with(blocks, "> " + limit);
  const std::size_t recorded = first_with(blocks, "NOTE #");
  REQUIRE(compared < blocks.size());
  CHECK(compared < recorded);
  CHECK(blocks[compared].starts_with("WHEN [ABS["));
}

TEST_CASE("the first find goes no deeper than a touch may be pressed and asks for a probe test") {
  const Machine machine = testing::example("fourth-axis");
  for (const char* language : controls) {
    CAPTURE(language);
    const ControlSheet sheet = demo::sheet(language);
    Plan plan = planned(machine);
    plan.distances.clearance = 4.25;
    plan.distances.search = 1.5;
    const EmittedProgram program = made(machine, plan, sheet);
    const auto blocks = blocks_of(program, sheet);
    const std::string skip = sheet.word(Meaning::skip);
    const std::size_t find = first_with(blocks, skip);
    const std::string stop = language == std::string("third") ? "HOLD" : "M0";
    CHECK(first_with(blocks, stop) < find);
    const auto by_hand = program.text.find(sheet.text.upper_case_only ? "BY HAND" : "by hand");
    CHECK(by_hand < program.text.find(blocks[find]));
    // Down from where it stands by clearance and search, 5.75 mm in all, as variables.
    const std::string way = blocks[find - 1] + blocks[find];
    for (const char* name : {"clearance", "search"}) {
      const std::string number = std::to_string(program.variable_numbers.at(name));
      CHECK(way.find(number) != std::string::npos);
    }
  }
}

TEST_CASE("a station whose written angle lies beyond the travel is refused") {
  Machine machine = testing::example("trunnion");
  const int a = machine.rotary_index('A');
  // 95.00004 deg is written 95.0000, inside; 95.00006 deg is written 95.0001, outside.
  for (const auto& [end_deg, good] : {std::pair(95.00004, true), std::pair(95.00006, false)}) {
    machine.rotary[a].travel_rad.high = rad_from_deg(end_deg);
    PlanRequest request;
    request.axes = {'A'};
    const auto outcome = make_plan(machine, request);
    REQUIRE(outcome.has_value());
    Plan plan = outcome->plan;
    // What the planner chose can be written; an edited angle at the very end may not.
    CHECK(make_program(machine, plan, demo::sheet("demo-control"), {}).has_value());
    for (PlannedStation& station : plan.stations) {
      if (station.angles_rad[a] > rad_from_deg(94.0)) station.angles_rad[a] = rad_from_deg(end_deg);
    }
    const auto program = make_program(machine, plan, demo::sheet("demo-control"), {});
    CHECK(program.has_value() == good);
    if (!program) {
      CHECK(program.error().front().number == ProblemNumber::cannot_spell);
      CHECK(program.error().front().what.find("beyond the travel") != std::string::npos);
    }
  }
}

TEST_CASE("nothing is written to the control's offsets unless asked for, and then after a stop") {
  const Machine machine = testing::example("fourth-axis");
  const Plan plan = planned(machine);
  for (const char* language : controls) {
    CAPTURE(language);
    const ControlSheet sheet = demo::sheet(language);
    // ngc writes zeros into a work offset of its own; the one asked for is number 2.
    const std::string word = language == std::string("third") ? "ORIGIN" : "G10 L2 P2";
    CHECK(made(machine, plan, sheet).text.find(word) == std::string::npos);
    CycleOptions options;
    options.solve_axis = 0;
    CHECK(made(machine, plan, sheet, options).text.find(word) == std::string::npos);
    options.set_offset = 2;
    const auto blocks = blocks_of(made(machine, plan, sheet, options), sheet);
    const std::size_t at = first_with(blocks, word);
    REQUIRE(at < blocks.size());
    const std::string stop = language == std::string("third") ? "HOLD" : "M0";
    CHECK(blocks[at - 1].find(stop) != std::string::npos);
    // Old and new are shown at that stop: the text stands in the stop or in remarks before it.
    const std::string text = made(machine, plan, sheet, options).text;
    const std::string before = text.substr(0, text.find(word));
    const std::regex shown("old.*new", std::regex::icase);
    CHECK(std::regex_search(before.substr(before.size() - 400), shown));
    CHECK(std::count_if(blocks.begin(), blocks.end(), [&](const std::string& b) {
            return b.find(word) != std::string::npos;
          }) == 1);
  }
}

TEST_CASE("what cannot be spelled is refused with the reason") {
  const Machine machine = testing::example("fourth-axis");
  const Plan plan = planned(machine);
  ControlSheet sheet = demo::sheet("demo-control");
  CycleOptions options;
  const auto refusal = [&]() -> std::string {
    const auto program = make_program(machine, plan, sheet, options);
    if (program) return "";
    CHECK_FALSE(program.error().front().advice.empty());
    return program.error().front().what;
  };
  SUBCASE("offset without a centre") {
    options.set_offset = 1;
    CHECK(refusal().find("worked out") != std::string::npos);
  }
  SUBCASE("an offset the control does not have") {
    options.solve_axis = 0;
    options.set_offset = 7;
    CHECK(refusal().find("work offset 7") != std::string::npos);
  }
  SUBCASE("an axis the control does not have") {
    sheet.axis_letters = "XYZ";
    CHECK(refusal().find("axis A") != std::string::npos);
  }
  SUBCASE("too few variables") {
    sheet.variables.working = {100, 110};
    sheet.variables.table = {500, 510};
    CHECK(refusal().find("too few variables") != std::string::npos);
  }
  SUBCASE("short lines") {
    sheet.text.max_line_length = 20;
    CHECK(refusal().find("characters in a line") != std::string::npos);
  }
  SUBCASE("coarse numbers") {
    sheet.numbers.decimals_mm = 0;
    CHECK(refusal().find("too coarse") != std::string::npos);
  }
  SUBCASE("a skip move shorter than the control makes") {
    sheet.skip.min_distance_mm = 2.0;
    CHECK(refusal().find("no skip move shorter") != std::string::npos);
  }
}

TEST_CASE("a plan that would crash makes no program") {
  const Machine machine = testing::example("fourth-axis");
  Plan plan = planned(machine);
  plan.distances.safe_height = -205.0;
  const auto program = make_program(machine, plan, demo::sheet("demo-control"), {});
  REQUIRE_FALSE(program.has_value());
  CHECK(program.error().front().number == ProblemNumber::collision);
}

TEST_CASE("a control without enough table variables is written out instead") {
  const Machine machine = testing::example("fourth-axis");
  const Plan plan = planned(machine);
  ControlSheet sheet = demo::sheet("demo-control");
  sheet.variables.table = {500, 510};
  const EmittedProgram program = made(machine, plan, sheet);
  // Only what counts the variables about to be overwritten still goes round, before anything else.
  const std::size_t last_loop = program.text.rfind("AGAIN");
  CHECK(last_loop < program.text.find("SPINDLE TO 0"));
}

TEST_CASE("lengths in the program are within the stated rounding of what was meant") {
  Machine machine = testing::example("fourth-axis");
  machine.artefacts[0].at_mm.x() = -270.123456789;
  const Plan plan = planned(machine);
  for (const bool inch : {false, true}) {
    machine.inch = inch;
    for (const char* language : controls) {
      CAPTURE(language);
      const ControlSheet sheet = demo::sheet(language);
      const EmittedProgram program = made(machine, plan, sheet);
      const int number = program.variable_numbers.at("place of ball X");
      const std::string variable = sheet.variables.prefix + std::to_string(number);
      std::smatch found;
      const std::regex assignment(variable + " ?= ?(-?[0-9.]+)");
      REQUIRE(std::regex_search(program.text, found, assignment));
      const double written = std::stod(found[1]) * (inch ? 25.4 : 1.0);
      CHECK(std::abs(written - machine.artefacts[0].at_mm.x()) <=
            rounding_bound_mm(sheet, inch) * (1.0 + 1e-9));
    }
  }
}

TEST_CASE("ngc obeys the rules of RS274/NGC version 3 (NISTIR 6556)") {
  const ControlSheet sheet = demo::sheet("ngc");
  static const std::set<std::string> known_words = {
      "G0",    "G1",  "G10", "G17", "G21", "G38.2", "G40", "G49", "G53", "G59.3",
      "G61.1", "G80", "G90", "G91", "G94", "G92.2", "M0",  "M2",  "M5"};
  for (const char* name : machines) {
    CAPTURE(name);
    const Machine machine = testing::example(name);
    const EmittedProgram program = made(machine, planned(machine), sheet);
    std::istringstream text(program.text);
    for (std::string line; std::getline(text, line);) {
      CAPTURE(line);
      CHECK(line.size() <= 253);
      CHECK(std::count(line.begin(), line.end(), '(') <= 1);  // one comment a line
      const bool no_semicolon =
          line.find(';') == std::string::npos || line.find('(') < line.find(';');
      CHECK(no_semicolon);
      std::string code = line.substr(0, line.find('('));
      // A minus between two values is fine; a sign before a parameter is not: `X-#1`, `[-#1]`.
      CHECK_FALSE(std::regex_search(code, std::regex("(^|[A-Z\\[+*/-])-#")));

      CHECK(std::regex_search(code, std::regex("[0-9][eE][0-9+-]")) == false);
      // Function names are no words.
      code = std::regex_replace(code, std::regex("SIN|COS|SQRT|ABS|ATAN"), "");
      std::set<char> letters;
      static const std::regex program_word("([A-Z])([0-9.]*)");
      for (std::sregex_iterator it(code.begin(), code.end(), program_word), end; it != end; ++it) {
        const char letter = (*it)[1].str()[0];
        if (letter == 'G' || letter == 'M') {
          CHECK(known_words.contains((*it)[0].str()));
          continue;
        }
        CHECK(letters.insert(letter).second);  // each letter once
      }
      const bool moves = std::regex_search(code, std::regex("G1 |G0 |G38"));
      const bool has_axis = letters.contains('X') || letters.contains('Y') ||
                            letters.contains('Z') || letters.contains('A') ||
                            letters.contains('B') || letters.contains('C');
      if (moves) CHECK(has_axis);
      if (letters.contains('F')) CHECK(moves);
      if (code.find("G38.2") != std::string::npos) {
        CHECK(code.find("G53") == std::string::npos);
        CHECK_FALSE(letters.contains('A'));
        CHECK(letters.contains('F'));
      }
    }
    CHECK(program.results.has_value());
  }
}

TEST_CASE("third: short lines, its own words, and a decimal comma only in the log") {
  const ControlSheet sheet = demo::sheet("third");
  for (const char* name : machines) {
    CAPTURE(name);
    const Machine machine = testing::example(name);
    const EmittedProgram program = made(machine, planned(machine), sheet);
    std::istringstream text(program.text);
    for (std::string line; std::getline(text, line);) {
      CAPTURE(line);
      CHECK(static_cast<int>(line.size()) <= sheet.text.max_line_length);
      if (line.starts_with("!")) continue;
      CHECK(line.find('#') == std::string::npos);
      CHECK_FALSE(std::regex_search(line, std::regex("\\bG[0-9]")));
    }
  }
}

TEST_CASE("the set-up sheet says what a setter needs and stands alone") {
  const Machine machine = testing::example("fourth-axis");
  const Plan plan = planned(machine);
  const ControlSheet sheet = demo::sheet("demo-control");
  const EmittedProgram program = made(machine, plan, sheet);
  const std::string page = setup_sheet(machine, plan, sheet, program, {});
  for (const char* part : {"<svg", "CAUTION", "Date", "Name", "stylus ball", "minutes", "Mount",
                           "safety rules", "writes nothing to the control's offsets"}) {
    CAPTURE(part);
    CHECK(page.find(part) != std::string::npos);
  }
  CHECK(page.find("http://") == page.find("http://www.w3.org/2000/svg"));
  CHECK(page.find("<script") == std::string::npos);
}

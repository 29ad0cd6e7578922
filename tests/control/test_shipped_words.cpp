// No file this project ships speaks one maker's language. What the shipped control sheets may hold is
// words of open standards and of the trade at large; the verdict on each is written here.
//
// Open standards: ISO 6983-1 (G and M words, from memory), RS274/NGC as in NISTIR 6556 (Kramer, Proctor,
// Messina, 2000: G and M words, #n, [ ], functions, G10 L2 P, G38.2, parameters 5061 to 5063 and 5211
// and up). Everything else is a slot: open in macro.toml, invented in demo-control.toml.
#include <doctest/doctest.h>

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <sstream>

#include "pivotrace/control/slots.h"
#include "pivotrace/formats/control_sheet_file.h"

namespace fs = std::filesystem;

namespace pivotrace {
namespace {

const fs::path root = PIVOTRACE_SOURCE_DIR;

std::string text_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

ControlSheet shipped(const std::string& name) {
  const auto sheet = read_control_sheet((root / "routines" / (name + ".toml")).string());
  REQUIRE(sheet.has_value());
  return *sheet;
}

/// Spelled apart, so that this file does not hold what it looks for.
std::vector<std::regex> words_of_one_maker() {
  const auto word = [](const std::string& pattern) {
    return std::regex(pattern, std::regex::icase | std::regex::optimize);
  };
  const auto as_written = [](const std::string& pattern) {
    return std::regex(pattern, std::regex::optimize);
  };
  return {word("DPR"
               "NT"),
          as_written("\\bPO"
                     "PEN\\b"),
          word("\\bPC"
               "LOS\\b"),
          word("BP"
               "RNT"),
          word("#3"
               "000\\b"),
          word("(#|= )40"
               "(0[1-9]|1[0-9])\\b"),
          word("(#|= )50"
               "[24][1-6]\\b"),
          word("\\bG3"
               "1\\b"),
          word("IF *\\[[^\\]\n]*\\] *GO"
               "TO"),
          word("WHI"
               "LE *\\[[^\\]\n]*\\] *DO"),
          word("\\bM1"
               "9 *R"),
          word("^O[0-9]{4}\\b")};
}

bool is_text(const fs::path& file) {
  static const std::set<std::string> endings = {".cpp",   ".h",  ".toml",     ".md",
                                                ".txt",   ".py", ".runs",     ".csv",
                                                ".cmake", ".sh", ".template", ""};
  return endings.contains(file.extension().string());
}

bool is_published_data(const fs::path& file) {
  return file.filename() == "nist_strd.cpp" || file.filename() == "test_shipped_words.cpp";
}

TEST_CASE("no file of the project holds a word of one maker's macro language") {
  const std::vector<std::regex> words = words_of_one_maker();
  int read = 0;
  for (const char* folder : {"routines", "examples", "src", "include", "tests"}) {
    for (const auto& entry : fs::recursive_directory_iterator(root / folder)) {
      if (!entry.is_regular_file() || !is_text(entry.path()) || is_published_data(entry.path())) {
        continue;
      }
      const std::string text = text_of(entry.path());
      ++read;
      std::istringstream lines(text);
      int number = 0;
      for (std::string line; std::getline(lines, line);) {
        ++number;
        if (line.size() > 2000) continue;
        for (const std::regex& word : words) {
          if (!std::regex_search(line, word)) continue;
          CAPTURE(entry.path().string());
          CAPTURE(number);
          CHECK_MESSAGE(false, line);
        }
      }
    }
  }
  for (const char* page : {"README.md", "DEVELOPERS.md"}) {
    const std::string text = text_of(root / page);
    for (const std::regex& word : words) {
      CAPTURE(page);
      std::smatch found;
      CHECK_MESSAGE(!std::regex_search(text, found, word), found.str());
    }
  }
  CHECK(read > 100);
}

/// NISTIR 6556, tables 5 and 7 (from memory); M19 and G95 of ISO 6983-1 (from memory).
const std::set<std::string>& standard_words() {
  static const std::set<std::string> words = {
      "G0",    "G00", "G1",  "G01", "G2",  "G02",   "G3",    "G03",   "G4",    "G04",   "G10",
      "G17",   "G18", "G19", "G20", "G21", "G38.2", "G40",   "G41",   "G42",   "G43",   "G49",
      "G53",   "G54", "G55", "G56", "G57", "G58",   "G59",   "G59.1", "G59.2", "G59.3", "G61",
      "G61.1", "G64", "G80", "G90", "G91", "G92",   "G92.1", "G92.2", "G92.3", "G93",   "G94",
      "G95",   "M0",  "M00", "M1",  "M01", "M2",    "M02",   "M3",    "M03",   "M4",    "M04",
      "M5",    "M05", "M7",  "M07", "M8",  "M08",   "M9",    "M09",   "M19",   "M30"};
  return words;
}

TEST_CASE("every word of the shipped sheets is a standard's, or invented where the sheet says so") {
  for (const char* name : {"macro", "ngc", "demo-control"}) {
    const ControlSheet sheet = shipped(name);
    for (const auto& [meaning, spellings] : sheet.words) {
      for (const std::string& spelling : spellings) {
        CAPTURE(name);
        CAPTURE(spelling);
        CHECK((standard_words().contains(spelling) || sheet.invented));
      }
    }
  }
}

TEST_CASE("the sheet to fill in leaves every maker's own words open") {
  const ControlSheet sheet = shipped("macro");
  for (const char* slot :
       {"words.skip", "branches.jump_if", "branches.while_begin", "stops.alarm", "log.begin",
        "skip.trip_variable", "position.machine_position", "position.modal_variable.units",
        "variables.working", "expressions.comparisons.less", "spindle.orient_form"}) {
    CAPTURE(slot);
    CHECK(sheet.is_open(slot));
    REQUIRE(find_slot(slot) != nullptr);
    CHECK_FALSE(find_slot(slot)->question.empty());
    CHECK_FALSE(find_slot(slot)->needed_for.empty());
  }
  CHECK(open_slots(shipped("ngc")).empty());
  CHECK(open_slots(shipped("demo-control")).empty());
}

TEST_CASE("an open slot with no way round it says so by having none, every other says the way") {
  for (const Slot& slot : slots()) {
    CAPTURE(slot.name());
    if (!slot.is_asked()) continue;
    CHECK_FALSE(slot.needed_for.empty());
    CHECK(find_slot(slot.name()) == &slot);
  }
}

}  // namespace
}  // namespace pivotrace

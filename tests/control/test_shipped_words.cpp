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
#include <regex>
#include <set>
#include <sstream>
#include <variant>

#include "control/verdicts_on_words.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/formats/control_sheet_file.h"

namespace fs = std::filesystem;

namespace pivotrace {
namespace {

using test::on_page;
using test::whole_text;
using test::words_of_one_maker;

const fs::path root = test::source_folder();

ControlSheet shipped(const std::string& name) {
  const auto sheet = read_control_sheet((root / "routines" / (name + ".toml")).string());
  REQUIRE(sheet.has_value());
  return *sheet;
}

bool is_text(const fs::path& file) {
  static const std::set<std::string> endings = {
      ".cpp", ".h",        ".toml", ".md",  ".txt",  ".py",  ".runs", ".csv", ".cmake",
      ".sh",  ".template", ".js",   ".mjs", ".html", ".css", ".svg",  ".in",  ""};
  return endings.contains(file.extension().string());
}

bool is_published_data(const fs::path& file) {
  return file.filename() == "nist_strd.cpp" || file.filename() == "verdicts_on_words.h";
}

TEST_CASE("no file of the project holds a word of one maker's macro language") {
  const std::vector<std::regex> words = words_of_one_maker();
  int read = 0;
  for (const char* folder : {"routines", "examples", "src", "include", "tests"}) {
    for (const auto& entry : fs::recursive_directory_iterator(root / folder)) {
      if (!entry.is_regular_file() || !is_text(entry.path()) || is_published_data(entry.path())) {
        continue;
      }
      const std::string text = whole_text(entry.path());
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
    const std::string text = whole_text(root / page);
    for (const std::regex& word : words) {
      CAPTURE(page);
      std::smatch found;
      CHECK_MESSAGE(!std::regex_search(text, found, word), found.str());
    }
  }
  CHECK(read > 100);
}

/// Every spelling a sheet holds: words, marks, forms and variable numbers, decimals and names aside.
class Spellings {
 public:
  explicit Spellings(const ControlSheet& sheet) : sheet_(sheet) {
    for (const Slot& slot : slots()) {
      const std::string name = slot.name();
      if (name == "name" || name == "title" || name == "text.comment_punctuation") continue;
      if (sheet_.is_open(name)) continue;
      std::visit([&](const auto& place) { add(place); }, slot.place);
    }
    for (const char* blank : {"", " "}) all_.erase(blank);
  }
  const std::set<std::string>& all() const { return all_; }

 private:
  void add(TextPlace place) { all_.insert(place(sheet_)); }
  void add(LinesPlace place) { all_.insert(place(sheet_).begin(), place(sheet_).end()); }
  void add(AxesPlace place) {
    for (const auto& [letter, number] : place(sheet_)) all_.insert(std::to_string(number));
  }
  void add(const WordPlace& place) {
    if (!sheet_.words.contains(place.meaning)) return;
    const auto& spellings = sheet_.words.at(place.meaning);
    all_.insert(spellings.begin(), spellings.end());
  }
  void add(const OperatorPlace& place) { add_from(sheet_.expressions.operators, place.op); }
  void add(const ComparisonPlace& place) {
    add_from(sheet_.expressions.comparisons, place.comparison);
  }
  void add(const FunctionPlace& place) { add_from(sheet_.expressions.functions, place.function); }
  void add(const ModalPlace& place) {
    const auto& variables = sheet_.position.modal_variable;
    if (variables.contains(place.group)) all_.insert(std::to_string(variables.at(place.group)));
  }
  /// Ranges are the shop's, flags, choices and decimals hold no words.
  void add(RangePlace) {}
  void add(OptionalRangePlace) {}
  void add(FlagPlace) {}
  void add(WholePlace) {}
  void add(NumberPlace) {}
  void add(const ChoicePlace&) {}
  template <class Map, class Key>
  void add_from(const Map& map, const Key& key) {
    if (map.contains(key)) all_.insert(map.at(key));
  }

  ControlSheet sheet_;
  std::set<std::string> all_;
};

/// What a sheet says in slots nobody filled in: the defaults of ControlSheet.
std::set<std::string> spoken_by(const std::string& name) {
  std::set<std::string> spoken = Spellings(shipped(name)).all();
  if (shipped(name).log.begin.empty()) {
    const Spellings defaults{ControlSheet{}};
    for (const std::string& silent : defaults.all()) {
      if (whole_text(root / "routines" / (name + ".toml")).find('"' + silent + '"') ==
          std::string::npos) {
        spoken.erase(silent);
      }
    }
  }
  return spoken;
}

std::set<std::string> standard_words() {
  std::set<std::string> words = on_page("Words");
  const std::set<std::string> marks = on_page("Marks, arithmetic and forms");
  words.insert(marks.begin(), marks.end());
  return words;
}

TEST_CASE(
    "every word of ngc and macro has its verdict on the page of words, and none is there twice") {
  const std::set<std::string> standard = standard_words();
  std::set<std::string> spoken;
  for (const char* name : {"ngc", "macro"}) {
    for (const std::string& spelling : spoken_by(name)) {
      CAPTURE(name);
      CHECK_MESSAGE(standard.contains(spelling), spelling);
      spoken.insert(spelling);
    }
  }
  spoken.merge(spoken_by("demo-control"));
  // The other way: the page lists nothing that no shipped sheet says.
  for (const std::string& word : on_page("Words")) CHECK_MESSAGE(spoken.contains(word), word);
}

TEST_CASE("what demo-control says beyond the standards stands on the page as invented") {
  const std::set<std::string> standard = standard_words();
  const std::set<std::string> invented = on_page("Invented");
  const auto is_variable_number = [](const std::string& text) {
    return std::all_of(text.begin(), text.end(),
                       [](unsigned char c) { return std::isdigit(c) != 0; });
  };
  REQUIRE(shipped("demo-control").invented);
  for (const std::string& spelling : spoken_by("demo-control")) {
    if (is_variable_number(spelling)) {
      CHECK_MESSAGE((spelling >= "2011" && spelling <= "2206"), spelling);
      continue;
    }
    CHECK_MESSAGE((standard.contains(spelling) || invented.contains(spelling)), spelling);
  }
}

TEST_CASE("the slots on the page of words are those macro leaves open") {
  const std::set<std::string> listed = on_page("Slots");
  std::set<std::string> open;
  for (const Slot* slot : open_slots(shipped("macro"))) open.insert(slot->name());
  CHECK(listed == open);
}

TEST_CASE("blank asks for every word and form and holds none itself") {
  const ControlSheet blank = shipped("blank");
  for (const Slot& slot : slots()) {
    CAPTURE(slot.name());
    if (slot.is_asked()) CHECK(blank.is_open(slot.name()));
  }
  CHECK(blank.words.empty());
  CHECK(blank.expressions.operators.empty());
  CHECK(blank.expressions.functions.empty());
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

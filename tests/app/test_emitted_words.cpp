// The words of what the program writes: programs, sheets and screens of every demo, not only the files that
// are shipped. Code words have their verdict on the page of words; remarks hold plain English, each word of
// which somebody has looked at (program-vocabulary.txt).
#include <doctest/doctest.h>

#include <algorithm>
#include <cctype>
#include <regex>
#include <set>
#include <sstream>

#include "app/demo_folder.h"
#include "control/verdicts_on_words.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/formats/sheet_answer.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

const std::string root = PIVOTRACE_SOURCE_DIR;

std::set<std::string> capital_words(const std::string& text) {
  std::set<std::string> words;
  static const std::regex word("\\b[A-Za-z]{2,}\\b");
  for (std::sregex_iterator at(text.begin(), text.end(), word), end; at != end; ++at) {
    std::string capitals = at->str();
    std::ranges::transform(capitals, capitals.begin(),
                           [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
    words.insert(capitals);
  }
  return words;
}

/// A program in two: what the control reads, and what people read. Quoted texts are columns of a log, in the
/// words of files.
struct Parts {
  std::string code;
  std::string remarks;
};

Parts parts_of(const std::string& program) {
  Parts parts;
  int depth = 0;
  bool quoted = false;
  for (const char c : program) {
    if (c == '\'' && depth == 0) quoted = !quoted;
    if (quoted) continue;
    if (c == '(') ++depth;
    (depth > 0 ? parts.remarks : parts.code) += c;
    if (c == ')') --depth;
    if (c == '\n') parts.remarks += ' ';
  }
  return parts;
}

/// Words the page of words has a verdict on, and the single words of the invented forms there.
std::set<std::string> judged_words() {
  std::set<std::string> words = test::on_page("Words");
  for (const char* section : {"Marks, arithmetic and forms", "Invented"}) {
    for (const std::string& form : test::on_page(section)) {
      words.insert(form);
      words.merge(capital_words(std::regex_replace(form, std::regex("\\{[^}]*\\}"), " ")));
    }
  }
  return words;
}

/// The sheet to fill in, with what a program cannot do without.
void fill_in(const std::string& file) {
  std::string text = slurp(root + "/routines/macro.toml");
  for (const auto& [slot, answer] :
       std::vector<std::pair<std::string, std::string>>{{"variables.readable", "1 9999"},
                                                        {"variables.working", "700 799"},
                                                        {"variables.results", "7000 8999"},
                                                        {"skip.untriggered", "goes-on"},
                                                        {"skip.triggered_at_start_is_error", "no"},
                                                        {"words.skip", "G38.2"},
                                                        {"offsets.own_system", "6"}}) {
    text = answered(text, *find_slot(slot), answer).value();
  }
  spill(file, text);
}

void check_no_maker(const std::string& text) {
  static const std::vector<std::regex> words = test::words_of_one_maker();
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    if (line.size() > 2000) continue;
    for (const std::regex& word : words) CHECK_MESSAGE(!std::regex_search(line, word), line);
  }
}

void check_code(const std::string& code) {
  static const std::set<std::string> judged = judged_words();
  static const std::regex word("[A-Z]{2,}|[GM][0-9]+(\\.[0-9]+)?");
  std::set<std::string> unknown;
  for (std::sregex_iterator at(code.begin(), code.end(), word), end; at != end; ++at) {
    if (!judged.contains(at->str())) unknown.insert(at->str());
  }
  // Words for clamping are the machine builder's: they stand in the machine file.
  for (const char* clamping : {"M10", "M11", "M12", "M13"}) unknown.erase(clamping);
  for (const std::string& word_of_program : unknown) CHECK_MESSAGE(false, word_of_program);
}

void check_remarks(const std::string& remarks) {
  static const std::set<std::string> vocabulary =
      capital_words(slurp(root + "/tests/app/program-vocabulary.txt"));
  for (const std::string& word : capital_words(remarks)) {
    CHECK_MESSAGE(vocabulary.contains(word), word);
  }
}

}  // namespace

TEST_CASE("programs, sheets and screens of every demo name no maker's words") {
  const Demo demo;
  const std::string mine = (demo.folder / "my-mill.toml").string();
  fill_in(mine);
  for (const std::string name : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    CAPTURE(name);
    const std::string plan = (demo.folder / (name + ".plan.toml")).string();
    const Screen planned = run_verb({"plan", example_path(name + ".machine.toml"), "-o", plan});
    REQUIRE(planned.code == 0);
    check_no_maker(planned.out);
    for (const std::string& control :
         {root + "/routines/ngc.toml", root + "/routines/demo-control.toml", mine}) {
      CAPTURE(control);
      const std::string page = (demo.folder / "sheet.html").string();
      const Screen cycle = run_verb({"cycle", plan, "--control", control, "--sheet", page});
      INFO(cycle.err);
      REQUIRE(cycle.code == 0);
      check_no_maker(cycle.out);
      check_no_maker(cycle.err);
      check_no_maker(slurp(page));
      const Parts parts = parts_of(cycle.out);
      check_code(parts.code);
      check_remarks(parts.remarks);
    }
  }
  const Screen proof = run_verb({"cycle", "--proof", root + "/routines/demo-control.toml"});
  REQUIRE(proof.code == 0);
  check_no_maker(proof.out);
  check_code(parts_of(proof.out).code);
  check_remarks(parts_of(proof.out).remarks);
}

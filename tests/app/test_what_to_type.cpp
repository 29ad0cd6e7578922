// Every mistake of the hand that has one cure is answered by one line that says what to type.
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "app/next_step.h"
#include "app/run_verb.h"
#include "app/usage_advice.h"
#include "formats/scratch_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using pivotrace::test::ScratchFolder;

namespace {

namespace fs = std::filesystem;

std::string example(const std::string& name) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/examples/" + name;
}

bool is_one_line(const std::string& text) {
  return !text.empty() && text.find('\n') == text.size() - 1;
}

/// What the program says of words that the command line refuses.
std::string advice_for(std::vector<std::string> words) {
  std::ostringstream nowhere;
  app::Console console{nowhere, nowhere};
  app::VerbAction action;
  CLI::App program{"pivotrace"};
  program.require_subcommand(1);
  app::add_all_verbs(program, console, action);
  std::vector<std::string> last_first(words.rbegin(), words.rend());
  try {
    program.parse(last_first);
  } catch (const CLI::ParseError& error) {
    return app::usage_advice(program, words, error);
  }
  return "";
}

std::string text_of(const std::string& file) {
  std::ifstream stream(file);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

}  // namespace

TEST_CASE("a word is quoted only when a shell would take it apart") {
  CHECK(app::command_line({"fit", "my mill.toml", "it's", "A=0..270/90"}) ==
        "pivotrace fit 'my mill.toml' 'it'\\''s' A=0..270/90");
}

TEST_CASE("a file beside another keeps folder and name") {
  CHECK(app::beside("parts.d/my.touches.csv", ".result.json") == "parts.d/my.result.json");
  CHECK(app::beside("parts.d/probe", ".svg") == "parts.d/probe.svg");
  CHECK(app::beside("a.b.nc", ".svg") == "a.b.svg");
}

TEST_CASE("a command, an option or a value misspelt comes back spelt well") {
  CHECK(advice_for({"fitt", "a", "b"}).find("type: pivotrace fit a b") != std::string::npos);
  CHECK(advice_for({"fit", "a", "b", "--wth", "drift"})
            .find("type: pivotrace fit a b --with drift") != std::string::npos);
  CHECK(advice_for({"fit", "a", "b", "--with", "drfit,scale"})
            .find("type: pivotrace fit a b --with drift,scale") != std::string::npos);
  CHECK(advice_for({"plan", "a", "--for", "comissioning"})
            .find("type: pivotrace plan a --for commissioning") != std::string::npos);
  CHECK(advice_for({"judge", "a"}).find("type: pivotrace judge a --limits FILE") !=
        std::string::npos);
  CHECK(advice_for({"xyzzy"}).find("see: pivotrace --help") != std::string::npos);
}

TEST_CASE(
    "the name of an option is no file name: nothing is written, and help is shown where it is "
    "asked") {
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"fit", "a", "b", "-o", "--json"},
        {"rehearse", "a", "--machine", "--plan", "b"},
        {"write", "a", "-o", "--list"}}) {
    CHECK(advice_for(words).find("a word is missing before --") != std::string::npos);
  }
  for (const char* option : {"--control", "--machine", "--from"}) {
    const Screen screen = run_verb({"new", option, "--help"});
    CHECK(screen.code == 0);
    CHECK_FALSE(fs::exists("--help"));
  }
}

TEST_CASE("files in each other's place: one line, with both where they belong") {
  const std::string machine = example("fourth-axis.machine.toml");
  const std::string touches = example("fourth-axis.touches.csv");
  const Screen screen = run_verb({"fit", touches, machine});
  CHECK(screen.code == 2);
  CHECK(is_one_line(screen.err));
  CHECK(screen.err.find("type: pivotrace fit " + machine + " " + touches + "\n") !=
        std::string::npos);
}

TEST_CASE("a file of another kind: one line, with what is done with such a file") {
  const std::string machine = example("fourth-axis.machine.toml");
  const Screen screen = run_verb({"write", machine, "--list"});
  CHECK(screen.code == 2);
  CHECK(is_one_line(screen.err));
  CHECK(screen.err.find("type: pivotrace plan " + machine) != std::string::npos);
}

TEST_CASE("a file that is what it should be keeps its own problems") {
  const ScratchFolder folder;
  const std::string machine = folder.file("bad.machine.toml");
  std::ofstream(machine) << "format = 1\n[[rotary]]\nletter = \"Q\"\n";
  const Screen screen = run_verb({"plan", machine});
  CHECK(screen.code == 2);
  CHECK(screen.err.find("P103") != std::string::npos);
  CHECK(screen.err.find("type: ") == std::string::npos);
}

TEST_CASE("ball centres that are not called so") {
  const ScratchFolder folder;
  std::string text = text_of(example("ball-centres.touches.csv"));
  const std::string mark = "# kind: centre\n";
  REQUIRE(text.find(mark) != std::string::npos);
  text.erase(text.find(mark), mark.size());
  const std::string touches = folder.file("typed.csv");
  std::ofstream(touches) << text;
  const std::string machine = example("fourth-axis.machine.toml");
  const Screen screen = run_verb({"fit", machine, touches});
  CHECK(screen.code == 2);
  CHECK(is_one_line(screen.err));
  CHECK(screen.err.find("each row of " + touches) != std::string::npos);
  CHECK(screen.err.find("type this as its first line: # kind: centre") != std::string::npos);
  // Done as it says, the fit succeeds.
  std::ofstream(touches) << mark << text;
  CHECK(run_verb({"fit", machine, touches}).code == 0);
}

TEST_CASE("an axis that cannot be found is not taken for ball centres") {
  const Screen screen = run_verb(
      {"fit", example("fourth-axis.machine.toml"), example("spoiled-two-angles.touches.csv")});
  CHECK(screen.err.find("kind: centre") == std::string::npos);
}

TEST_CASE("each step ends with the next, and the next one is done as it is typed") {
  const ScratchFolder folder;
  const fs::path before = fs::current_path();
  fs::current_path(folder.file(""));
  for (const char* name : {"fourth-axis.machine.toml", "fourth-axis.touches.csv"}) {
    fs::copy_file(example(name), folder.file(name));
  }
  std::string next = "check fourth-axis.machine.toml";
  std::vector<std::string> verbs;
  for (int step = 0; step < 7; ++step) {
    // The test program has no control sheets beside it.
    const std::string sheet = "--control ngc";
    if (const std::size_t at = next.find(sheet); at != std::string::npos) {
      next.replace(at, sheet.size(),
                   "--control " + std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml");
    }
    std::istringstream typed(next);
    std::vector<std::string> words;
    for (std::string word; typed >> word;) words.push_back(word);
    verbs.push_back(words.front());
    const Screen screen = run_verb(words);
    CAPTURE(next);
    CAPTURE(screen.err);
    REQUIRE(screen.code == 0);
    const std::string mark = "next: pivotrace ";
    const std::size_t at = screen.err.rfind(mark);
    REQUIRE(at != std::string::npos);
    next = screen.err.substr(at + mark.size(), screen.err.find('\n', at) - at - mark.size());
  }
  CHECK(verbs ==
        std::vector<std::string>{"check", "plan", "cycle", "rehearse", "fit", "report", "write"});
  fs::current_path(before);
}

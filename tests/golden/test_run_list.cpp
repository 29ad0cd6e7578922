#include <doctest/doctest.h>

#include "golden/run_list.h"

using namespace pivotrace::golden;

TEST_CASE("a list of runs: commands, exit codes, files made before a command") {
  const auto runs = read_run_list(
      "# a remark\n"
      "\n"
      "run first\n"
      "$ check a.toml\n"
      "$ fit a.toml \"two words.csv\" -o=\"\"\n"
      "exit 3\n"
      "make b.toml from a.toml\n"
      "replace x = 1 => x = 2\n"
      "append y = 3\n"
      "run second\n"
      "$\n");
  REQUIRE(runs.has_value());
  REQUIRE(runs->size() == 2);
  const Run& first = (*runs)[0];
  REQUIRE(first.commands.size() == 2);
  CHECK(first.commands[0].words == std::vector<std::string>{"check", "a.toml"});
  CHECK(first.commands[0].exit_code == 0);
  CHECK(first.commands[1].words ==
        std::vector<std::string>{"fit", "a.toml", "two words.csv", "-o="});
  CHECK(first.commands[1].exit_code == 3);
  const Command& second = (*runs)[1].commands.at(0);
  CHECK(second.words.empty());
  REQUIRE(second.made.size() == 1);
  CHECK(second.made[0].from == "a.toml");
  CHECK(edited("x = 1\n", second.made[0].edits).value() == "x = 2\ny = 3\n");
  CHECK(edited("x = 5\n", second.made[0].edits).error() == "nothing holds: x = 1");
}

TEST_CASE("a wrong list says where and what") {
  const auto says = [](const std::string& text) {
    const auto runs = read_run_list(text);
    return runs ? std::string("good") : runs.error();
  };
  CHECK(says("") == "the list holds no run");
  CHECK(says("run a\nrin b\n") == "line 2: 'rin' is none of run, $, exit, make, replace, append");
  CHECK(says("$ fit\n") == "line 1: a command before the first run");
  CHECK(says("run a\nexit 1\n") == "line 2: an exit code without a command");
  CHECK(says("run a\n$ fit\nexit one\n") == "line 3: no exit code: one");
  CHECK(says("run a\nrun a\n") == "line 2: two runs are called a");
  CHECK(says("run A/b\n") == "line 1: a name is made of lower-case letters, digits, '-' and '.'");
  CHECK(says("run a\n$ fit \"b\n") == "line 2: a quotation mark is left open");
  CHECK(says("make a\n") == "line 1: write: make FILE from OTHER");
  CHECK(says("replace a => b\n") == "line 1: replace without a file that is made");
  CHECK(says("make a from b\nreplace a\n") == "line 2: write: replace OLD => NEW");
  CHECK(says("run a\n$ fit\nmake a from b\n") == "the last file made is used by no command");
}

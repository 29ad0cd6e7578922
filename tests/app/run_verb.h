// Runs a verb as the program does, with its screen caught.
#pragma once

#include <CLI/CLI.hpp>
#include <algorithm>
#include <sstream>
#include <string>
#include <vector>

#include "app/verbs.h"

namespace pivotrace::testing {

struct Screen {
  int code = -1;
  std::string out;
  std::string err;
};

/// `words` as typed after "pivotrace".
inline Screen run_verb(std::vector<std::string> words) {
  std::ostringstream out;
  std::ostringstream err;
  app::Console console{out, err};
  app::VerbAction action;
  CLI::App program{"pivotrace"};
  program.require_subcommand(1);
  app::add_all_verbs(program, console, action);
  Screen screen;
  try {
    std::reverse(words.begin(), words.end());  // CLI11 takes them last first
    program.parse(words);
    screen.code = static_cast<int>(action());
  } catch (const CLI::ParseError& error) {
    err << error.what();
    screen.code = error.get_exit_code() == 0 ? 0 : 2;
  }
  screen.out = out.str();
  screen.err = err.str();
  return screen;
}

}  // namespace pivotrace::testing

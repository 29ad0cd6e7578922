// Runs a verb as the program does, with its screen caught.
#pragma once

#include <CLI/CLI.hpp>
#include <algorithm>
#include <functional>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "app/verbs.h"

namespace pivotrace::testing {

struct Screen {
  int code = -1;
  std::string out;
  std::string err;
};

/// A screen that calls somebody whenever the verb makes sure that all it said is seen.
class WatchedScreen : public std::stringbuf {
 public:
  explicit WatchedScreen(std::function<void()> when_seen) : when_seen_(std::move(when_seen)) {}

 protected:
  int sync() override {
    if (when_seen_) when_seen_();
    return 0;
  }

 private:
  std::function<void()> when_seen_;
};

/// `words` as typed after "pivotrace". `when_seen` stands for what happens in the world while the
/// user looks at the result; `disk` is where its files lie; `typed`: the answers to its questions, a
/// line each.
inline Screen run_verb(std::vector<std::string> words, std::function<void()> when_seen = {},
                       FileCalls& disk = system_file_calls(), const std::string& typed = {}) {
  WatchedScreen shown(std::move(when_seen));
  std::ostream out(&shown);
  std::ostringstream err;
  std::istringstream in(typed);
  app::Console console{out, err, &in, false, false, disk};
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
  screen.out = shown.str();
  screen.err = err.str();
  return screen;
}

}  // namespace pivotrace::testing

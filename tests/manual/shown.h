// Whether a page shows what a command says, and how to bring it up to date.
#pragma once

#include <string>
#include <vector>

namespace pivotrace::manual {

/// The line with what differs from run to run made alike: time stamps, the version, hashes, processor
/// times, blanks at the end.
std::string settled(const std::string& line);

/// A shown line `...` stands for any number of lines. Numbers are compared as in the golden run.
struct Comparison {
  std::vector<std::string> brought_up_to_date;  ///< what the page should show
  std::vector<std::string> differences;         ///< for people; empty: the page is right
};

/// Pairs shown lines with lines of the screen so that as little as possible differs, `...` kept where
/// it stands. A line that counts as the same stays as the page has it.
Comparison compare_shown(const std::vector<std::string>& shown,
                         const std::vector<std::string>& screen);

}  // namespace pivotrace::manual

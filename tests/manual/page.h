// A page of the manual as the test of its commands sees it.
//
//   ```csv file my.touches.csv        a file that the commands after it find, as it stands
//   ```text exit 1                    a session: `$ command`, then what the screen shows; the last
//                                     command of the block ends with 1 (0 if nothing is said)
//
// A command goes on in the next line after a backslash. A line `...` stands for any number of lines.
#pragma once

#include <cstddef>
#include <string>
#include <tl/expected.hpp>
#include <vector>

namespace pivotrace::manual {

/// A command of a session and what the page says it shows.
struct ShownCommand {
  std::string text;                ///< as typed, with its line ends
  std::vector<std::string> shown;  ///< lines of the page
  std::size_t shown_from = 0;      ///< index of the first of them in the page
  std::size_t indent = 0;          ///< blanks before every line of its block
  int exit_code = 0;
};

/// A file to write, or a command to run.
struct PageStep {
  std::string file;  ///< empty: a command
  std::string content;
  ShownCommand command;
};

struct Page {
  std::vector<std::string> lines;
  std::vector<PageStep> steps;  ///< in the order of the page
};

/// The page, or what is wrong with it and in which line: a block without an end, or a command that would
/// not be run because its line does not begin with `$ `.
tl::expected<Page, std::string> read_page(const std::string& text);

/// The page with what its commands really show, one list of lines for each command in order.
std::string with_shown(const Page& page, const std::vector<std::vector<std::string>>& shown);

}  // namespace pivotrace::manual

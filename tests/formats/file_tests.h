// What the tests of this layer share: the example files, and places found by plain searching.
#pragma once

#include <doctest/doctest.h>

#include <fstream>
#include <sstream>
#include <string>

#include "pivotrace/base/problem.h"

namespace pivotrace::test {

inline std::string example_path(const std::string& name) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/examples/" + name;
}

inline std::string example_text(const std::string& name) {
  std::ifstream stream(example_path(name), std::ios::binary);
  REQUIRE(stream.good());
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

/// A machine whose only rotary axis carries the tool.
inline constexpr const char* tool_side = R"(format = 1
name = "Head"
units = "mm"
[linear]
limits = { X = [-600, 0], Y = [-400, 0], Z = [-500, 0] }
[[rotary]]
letter = "B"
carries = "tool"
along = "Y"
positive_turn = "right-hand"
centre = [0, 0, 180]
limits = [-100, 100]
[probe]
stylus_diameter = 6
length_datum = "centre"
[[artefact]]
name = "ball"
kind = "ball"
carried_by = "bed"
at = [-300, -200, -400]
)";

/// `text` with the first `from` replaced; the test fails when there is none.
inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  REQUIRE_MESSAGE(at != std::string::npos, "nothing to replace: " << from);
  return text.replace(at, from.size(), to);
}

/// Line and column, from 1, of the first `needle` (ASCII texts with LF only).
inline Place place_in(const std::string& text, const std::string& needle) {
  const std::size_t at = text.find(needle);
  REQUIRE_MESSAGE(at != std::string::npos, "not in the text: " << needle);
  Place place;
  place.line = 1;
  place.column = 1;
  for (std::size_t i = 0; i < at; ++i) {
    ++place.column;
    if (text[i] == '\n') {
      ++place.line;
      place.column = 1;
    }
  }
  return place;
}

inline std::string described(const Problems& problems) {
  std::string text;
  for (const Problem& problem : problems) text += "\n  " + describe(problem);
  return text;
}

/// Exactly one problem, with this number, at this place (0 = the place is not looked at).
inline void check_only(const Problems& problems, ProblemNumber number, int line = 0,
                       int column = 0) {
  INFO("problems:" << described(problems));
  REQUIRE(problems.size() == 1);
  CHECK(static_cast<int>(problems[0].number) == static_cast<int>(number));
  if (line > 0) CHECK(problems[0].where.line == line);
  if (column > 0) CHECK(problems[0].where.column == column);
  CHECK_FALSE(problems[0].what.empty());
  CHECK_FALSE(problems[0].advice.empty());
}

inline bool mentions(const Problem& problem, const std::string& words) {
  return problem.what.find(words) != std::string::npos ||
         problem.advice.find(words) != std::string::npos;
}

}  // namespace pivotrace::test

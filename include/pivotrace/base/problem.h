// What went wrong, where, and what to do about it: the one failure value of every layer.
#pragma once

#include <string>
#include <tl/expected.hpp>
#include <vector>

#include "pivotrace/base/problem_numbers.h"

namespace pivotrace {

/// Where in a user's file a problem stands. Line and column count from 1; 0 means "not known".
struct Place {
  std::string file;
  int line = 0;
  int column = 0;
};

/// One thing that is wrong. `what` says it in plain words, `advice` says what to do.
struct Problem {
  ProblemNumber number = ProblemNumber::not_set;
  std::string what;
  Place where;
  std::string advice;
};

using Problems = std::vector<Problem>;

/// A value, or every problem that stood in its way (never an empty list).
template <class T>
using Expected = tl::expected<T, Problems>;

/// A single problem as the failure of an Expected.
inline tl::unexpected<Problems> failure(Problem problem) {
  return tl::make_unexpected(Problems{std::move(problem)});
}

/// "P104 trunnion.machine.toml:3:5: what" and, on a second line, the advice.
std::string describe(const Problem& problem);

}  // namespace pivotrace

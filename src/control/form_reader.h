// Reads a line by a form of the control sheet and remembers where each blank stood.
#pragma once

#include <map>
#include <optional>
#include <string>

namespace pivotrace::control {

/// What stood in a blank, and the column (from 1) of its first character.
struct Filled {
  std::string text;
  int column = 0;
};

using FilledForm = std::map<std::string, Filled>;

/// Same rules as match_form (blanks of a line do not matter, the shortest text that lets the rest
/// match), but with columns. `first_column` is the column of line[0]. A blank holds at least one
/// character.
std::optional<FilledForm> read_form(const std::string& form, const std::string& line,
                                    int first_column, bool case_matters);

}  // namespace pivotrace::control

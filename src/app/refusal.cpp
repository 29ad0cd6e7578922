#include "app/refusal.h"

#include <algorithm>

namespace pivotrace::app {

namespace {

bool is_not_good(const Problem& problem) {
  switch (problem.number) {
    case ProblemNumber::not_usable:
    case ProblemNumber::change_too_large:
    case ProblemNumber::change_too_small:
    case ProblemNumber::outdated_result:
    case ProblemNumber::values_disagree: return true;
    default: return false;
  }
}

}  // namespace

ExitCode refuse(const Console& console, const Problems& problems) {
  console.report(problems);
  if (std::all_of(problems.begin(), problems.end(), is_not_good)) return ExitCode::not_good;
  return exit_code_for(problems);
}

Expected<std::optional<char>> axis_letter(const std::string& text) {
  if (text.empty()) return std::optional<char>();
  if (text.size() == 1) return std::optional<char>(text.front());
  return failure({ProblemNumber::bad_argument,
                  "\"" + text + "\" is not the letter of an axis",
                  {},
                  "give one letter, for example A"});
}

LengthUnit length_unit(const std::string& word) {
  return word == "inch" ? LengthUnit::inch : LengthUnit::mm;
}

LengthUnit length_unit(const std::string& word, const FitResult& result) {
  if (!word.empty()) return length_unit(word);
  return unit_of(result);
}

}  // namespace pivotrace::app

#include "control/overwritten_variables.h"

#include <fmt/format.h>

#include <algorithm>

namespace pivotrace::control {

namespace {

std::vector<VariableRange> merged(std::vector<VariableRange> ranges) {
  std::sort(ranges.begin(), ranges.end(),
            [](const VariableRange& a, const VariableRange& b) { return a.first < b.first; });
  std::vector<VariableRange> joined;
  for (const VariableRange& range : ranges) {
    if (joined.empty() || range.first > joined.back().last + 1) {
      joined.push_back(range);
    } else {
      joined.back().last = std::max(joined.back().last, range.last);
    }
  }
  return joined;
}

bool is_counting(const std::string& name) {
  return std::any_of(counting_variables.begin(), counting_variables.end(),
                     [&](const char* counting) { return name == counting; });
}

}  // namespace

std::vector<VariableRange> overwritten(const ControlProgram& program, const ControlSheet& sheet,
                                       const VariableNumbers& numbers) {
  std::vector<VariableRange> ranges;
  for (const ProgramVariable& variable : program.variables) {
    if (is_counting(variable.name)) continue;
    const int first = numbers.number_of(variable.name);
    ranges.push_back({first, first + std::max(1, variable.size) - 1});
  }
  if (!sheet.log.available() && sheet.variables.results) {
    const int first = sheet.variables.results->first;
    ranges.push_back({first, first + 1 + 3 * program.record_lines});
  }
  return merged(std::move(ranges));
}

std::string ranges_text(const std::vector<VariableRange>& ranges) {
  std::string text;
  for (std::size_t i = 0; i < ranges.size(); ++i) {
    if (i > 0) text += i + 1 == ranges.size() ? " and " : ", ";
    const auto& [first, last] = ranges[i];
    text += first == last ? fmt::format("{}", first) : fmt::format("{} to {}", first, last);
  }
  return text;
}

bool can_count_contents(const ControlSheet& sheet) {
  return !sheet.stops.value_in_text.empty() && !sheet.variables.unset_is_error &&
         sheet.branches.can_loop() && sheet.branches.can_jump() &&
         !sheet.variables.index_open.empty();
}

std::string variable_at(const ControlSheet& sheet, const std::string& number) {
  const VariableRules& rules = sheet.variables;
  return rules.prefix + rules.index_open + number + rules.index_close + rules.suffix;
}

}  // namespace pivotrace::control

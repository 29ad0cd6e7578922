#include "pivotrace/control/variables.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <sstream>

namespace pivotrace {

namespace {

constexpr const char* heading = "Parameter\tValue";

/// Rows every RS274/NGC parameter file has: homes, G92 shift, active system, nine origins.
std::vector<int> required_rows() {
  std::vector<int> rows;
  const auto six_from = [&rows](int first) {
    for (int i = 0; i < 6; ++i) rows.push_back(first + i);
  };
  six_from(5161);
  six_from(5181);
  six_from(5211);
  rows.push_back(5220);
  for (int system = 0; system < 9; ++system) six_from(5221 + 20 * system);
  return rows;
}

tl::unexpected<Problems> refuse(const std::string& file, int line, const std::string& what,
                                const std::string& advice) {
  return failure({ProblemNumber::cannot_parse, what, {file, line, 1}, advice});
}

}  // namespace

Variables::Variables(const VariableRange& range)
    : range_(range),
      values_(static_cast<std::size_t>(std::max(0, range.count())), 0.0),
      set_(values_.size(), 0) {}

bool Variables::exists(int number) const { return number >= range_.first && number <= range_.last; }

bool Variables::is_set(int number) const {
  return exists(number) && set_[static_cast<std::size_t>(number - range_.first)] != 0;
}

double Variables::value(int number) const {
  return exists(number) ? values_[static_cast<std::size_t>(number - range_.first)] : 0.0;
}

void Variables::set(int number, double value) {
  if (!exists(number)) return;
  const auto index = static_cast<std::size_t>(number - range_.first);
  values_[index] = value;
  set_[index] = 1;
}

Expected<std::vector<int>> read_parameter_file(const std::string& text, const std::string& file,
                                               Variables& variables) {
  std::istringstream stream(text);
  std::vector<int> rows;
  std::string line;
  for (int number = 1; std::getline(stream, line); ++number) {
    std::istringstream fields(line);
    int parameter = 0;
    double value = 0.0;
    if (!(fields >> parameter)) {
      const bool blank = std::all_of(line.begin(), line.end(),
                                     [](unsigned char c) { return std::isspace(c) != 0; });
      if (rows.empty() || blank) continue;  // the heading, or an empty line at the end
      return refuse(file, number, "this is not a parameter row", "write a number and its value");
    }
    std::string rest;
    if (!(fields >> value) || (fields >> rest)) {
      return refuse(file, number, "this is not a parameter row", "write a number and its value");
    }
    if (!variables.exists(parameter)) {
      return refuse(file, number, fmt::format("there is no parameter {}", parameter),
                    "take the row out");
    }
    if (!rows.empty() && parameter <= rows.back()) {
      return refuse(file, number,
                    fmt::format("parameter {} comes after {}", parameter, rows.back()),
                    "sort the rows by number, each once");
    }
    variables.set(parameter, value);
    rows.push_back(parameter);
  }
  if (rows.empty()) {
    return refuse(file, 1, "there is no parameter row in this file",
                  "give the parameter file of the control: rows of a number and its value");
  }
  return rows;
}

std::string parameter_file(const Variables& variables, const std::vector<int>& rows) {
  std::vector<int> all = required_rows();
  all.insert(all.end(), rows.begin(), rows.end());
  std::sort(all.begin(), all.end());
  all.erase(std::unique(all.begin(), all.end()), all.end());
  std::string text = std::string(heading) + "\n";
  for (const int number : all) {
    text += fmt::format("{}\t{:.6f}\n", number, variables.value(number));
  }
  return text;
}

}  // namespace pivotrace

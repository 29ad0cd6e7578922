#include "pivotrace/rehearsal/rehearse.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <optional>
#include <utility>

#include "control/control_state.h"
#include "rehearsal/virtual_machine.h"

namespace pivotrace {

namespace {

/// mm and deg: no axis at a round number, no axis at zero.
constexpr AxisValues odd_origin = {-123.4567, 87.6543, -45.6789, 0.0, 0.0, 0.0};

Problems check_machine(const Machine& machine) {
  Problems problems;
  for (const RotaryAxis& axis : machine.rotary) {
    if (control::axis_index(axis.letter) < 3) {
      problems.push_back(
          {ProblemNumber::unknown_name,
           fmt::format("rotary axis {}: programs name rotary axes A, B or C", axis.letter),
           {},
           "rename the axis in the machine file"});
    }
  }
  return problems;
}

/// Rows of the parameter file that a program left results in.
std::vector<int> result_rows(const ControlSheet& sheet, const Variables& variables) {
  std::vector<int> rows;
  if (!sheet.variables.results) return rows;
  for (int n = sheet.variables.results->first; n <= sheet.variables.results->last; ++n) {
    if (variables.is_set(n)) rows.push_back(n);
  }
  return rows;
}

/// Number of the variable that is named at this place of a text and has a value, and where its name
/// ends.
std::optional<std::pair<int, std::size_t>> variable_named(const std::string& text, std::size_t at,
                                                          const ControlSheet& sheet,
                                                          const Variables& variables) {
  const std::string& prefix = sheet.variables.prefix;
  const bool inside_word = at > 0 && std::isalnum(static_cast<unsigned char>(text[at - 1])) != 0;
  if (inside_word || prefix.empty() || text.compare(at, prefix.size(), prefix) != 0) {
    return std::nullopt;
  }
  int number = 0;
  const char* first = text.data() + at + prefix.size();
  const auto digits = std::from_chars(first, text.data() + text.size(), number);
  if (digits.ec != std::errc() || !variables.exists(number) || !variables.is_set(number)) {
    return std::nullopt;
  }
  return std::pair(number, static_cast<std::size_t>(digits.ptr - text.data()));
}

/// The number of a variable as the control spells it, "#512".
std::optional<int> variable_spelled(const std::string& text, const ControlSheet& sheet,
                                    const Variables& variables) {
  const std::string& prefix = sheet.variables.prefix;
  if (!text.starts_with(prefix)) return std::nullopt;
  int number = 0;
  const auto digits =
      std::from_chars(text.data() + prefix.size(), text.data() + text.size(), number);
  if (digits.ec != std::errc() || !variables.exists(number)) return std::nullopt;
  return number;
}

/// A text with the value of every variable it names: "#512" becomes "#512 (= -199.920134)".
std::string with_values(const std::string& text, const ControlSheet& sheet,
                        const Variables& variables) {
  std::string read;
  for (std::size_t at = 0; at < text.size();) {
    const auto named = variable_named(text, at, sheet, variables);
    if (!named) {
      read += text[at++];
      continue;
    }
    const auto& [number, end] = *named;
    read += text.substr(at, end - at) + fmt::format(" (= {:.6f})", variables.value(number));
    at = end;
  }
  return read;
}

std::vector<std::string> clamp_words(const Machine& machine) {
  std::vector<std::string> words;
  for (const RotaryAxis& axis : machine.rotary) {
    for (const std::string& word : {axis.clamp, axis.unclamp}) {
      if (!word.empty()) words.push_back(word);
    }
  }
  return words;
}

}  // namespace

Problems RehearsalOptions::validate() const {
  Problems problems;
  const auto require = [&problems](bool good, const std::string& what) {
    if (!good) problems.push_back({ProblemNumber::bad_options, what, {}, "give a sensible number"});
  };
  require(guard_mm >= 0.0 && std::isfinite(guard_mm), "the guard distance is negative");
  require(overtravel_limit_mm > 0.0 && std::isfinite(overtravel_limit_mm),
          "the overtravel limit is not positive");
  require(noise.touch_sigma_mm >= 0.0 && noise.station_sigma_mm >= 0.0, "a sigma is negative");
  require(start_mm.allFinite(), "the start position is not a number");
  require(block_limit > 0, "the block limit is zero");
  return problems;
}

ControlStart usual_start(const Machine& machine, const ControlSheet& sheet) {
  ControlStart start;
  start.in_force[ModalGroup::units] = machine.inch ? Meaning::inches : Meaning::millimetres;
  start.in_force[ModalGroup::distance] = Meaning::absolute;
  start.in_force[ModalGroup::feed_mode] = Meaning::feed_per_minute;
  if (!sheet.word(Meaning::work_offset_1).empty()) {
    for (AxisValues& origin : start.work_origins) origin = odd_origin;
  }
  return start;
}

Expected<RehearsalReport> rehearse(const std::string& program, const std::string& file,
                                   const Machine& machine, const ControlSheet& sheet,
                                   const RehearsalTruth& truth, const RehearsalOptions& options) {
  Problems problems = options.validate();
  for (Problem& problem : check_machine(machine)) problems.push_back(std::move(problem));
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));

  Variables variables(sheet.variables.readable);
  std::vector<int> rows;
  if (!options.parameter_file.empty()) {
    Expected<std::vector<int>> read =
        read_parameter_file(options.parameter_file, options.parameter_file_name, variables);
    if (!read) return tl::make_unexpected(std::move(read.error()));
    rows = std::move(*read);
  }
  InterpreterOptions how;
  how.start = options.control;
  how.auxiliary_words = clamp_words(machine);
  how.block_limit = options.block_limit;

  rehearsal::VirtualMachine virtual_machine(machine, truth, options);
  virtual_machine.set_look_up(
      [&](const std::string& text) { return with_values(text, sheet, variables); });
  virtual_machine.set_typing([&](const std::string& spelled, double value) {
    if (const auto named = variable_spelled(spelled, sheet, variables)) {
      variables.set(*named, value);
    }
  });
  virtual_machine.set_reading([&](const std::string& spelled) {
    const auto named = variable_spelled(spelled, sheet, variables);
    return named ? std::optional(variables.value(*named)) : std::nullopt;
  });
  const ProgramRun run = run_program(program, file, sheet, virtual_machine, variables, how);
  RehearsalReport report = virtual_machine.take_report();
  report.run = run;
  report.passed = run.end == ProgramEnd::finished && report.violations.empty();
  if (sheet.variables.results) {
    const std::vector<int> results = result_rows(sheet, variables);
    rows.insert(rows.end(), results.begin(), results.end());
    report.parameter_file = parameter_file(variables, rows);
  }
  return report;
}

}  // namespace pivotrace

#include "pivots/reseat_limits.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"

namespace pivotrace {

namespace {

/// Round-off of degrees typed and of places turned: far below what any control resolves.
constexpr double limit_slack_rad = 1e-9;
constexpr double limit_slack_mm = 1e-6;

std::string work_letters(const FitResult& result) {
  std::string letters;
  for (const AxisResult& axis : result.axes) {
    if (axis.side == AxisSide::work) letters += axis.letter;
  }
  return letters;
}

std::string work_letters(const Machine& machine) {
  std::string letters;
  for (const RotaryAxis& axis : machine.rotary) {
    if (axis.side == AxisSide::work) letters += axis.letter;
  }
  return letters;
}

std::string degrees_text(const Range& range_rad) {
  return fmt::format("{} to {} deg", fixed_text(deg_from_rad(range_rad.low), 3),
                     fixed_text(deg_from_rad(range_rad.high), 3));
}

std::string length_text(double mm, LengthUnit unit) {
  return fixed_text(shown_value(QuantityKind::length, mm, unit),
                    unit == LengthUnit::inch ? program_decimals_inch : program_decimals_mm);
}

std::string travel_text(const Range& travel_mm, LengthUnit unit) {
  return fmt::format("{} to {} {}", length_text(travel_mm.low, unit),
                     length_text(travel_mm.high, unit), unit_word(QuantityKind::length, unit));
}

/// Taught position first, then the targets.
std::vector<RotaryAngles> every_position(const ReseatRequest& request) {
  std::vector<RotaryAngles> positions = {request.taught_at_rad};
  positions.insert(positions.end(), request.targets.begin(), request.targets.end());
  return positions;
}

std::string others_text(std::ptrdiff_t count) {
  return count < 2 ? "" : fmt::format(" (and {} more)", count - 1);
}

/// Where one linear axis is asked outside its travel.
std::optional<Problem> outside_travel_along(const FitResult& result, const Machine& machine,
                                            const ReseatRequest& request, const ReseatTable& table,
                                            int k) {
  const Range& travel = machine.linear.travel_mm[k];
  const auto is_outside = [&](const ReseatRow& row) {
    return !travel.contains(row.offset_mm[k], limit_slack_mm);
  };
  const auto first = std::find_if(table.rows.begin(), table.rows.end(), is_outside);
  if (first == table.rows.end()) return std::nullopt;
  return Problem{
      ProblemNumber::out_of_range,
      fmt::format("{}: {} of the work offset would be {}, outside the travel {}{}",
                  angles_text(result, first->angles_rad), "XYZ"[k],
                  length_text(first->offset_mm[k], request.unit), travel_text(travel, request.unit),
                  others_text(std::count_if(first, table.rows.end(), is_outside))),
      {},
      "check the taught offset, its units and the angle it was taught at; clamp the part nearer to "
      "the axis; where no move goes to that origin, --allow-outside-travel"};
}

std::optional<Problem> taught_outside(const Machine& machine, const ReseatRequest& request, int k) {
  const Range& travel = machine.linear.travel_mm[k];
  if (travel.contains(request.taught_mm[k], limit_slack_mm)) return std::nullopt;
  return Problem{ProblemNumber::out_of_range,
                 fmt::format("{} of the taught offset is {}, outside the travel {}", "XYZ"[k],
                             length_text(request.taught_mm[k], request.unit),
                             travel_text(travel, request.unit)),
                 {},
                 "give machine coordinates in the units of the machine file, or say --units"};
}

}  // namespace

Problems other_machine(const FitResult& result, const Machine& machine) {
  const bool same =
      result.machine_name == machine.name && work_letters(result) == work_letters(machine);
  if (same) return {};
  return {
      {ProblemNumber::other_machine,
       fmt::format("this result is of \"{}\" with work-side axes {}, the machine file is of "
                   "\"{}\" with {}",
                   result.machine_name, work_letters(result), machine.name, work_letters(machine)),
       {},
       "name the machine file the result was fitted with: --machine FILE"}};
}

Problems beyond_rotary_limits(const FitResult& result, const Machine& machine,
                              const ReseatRequest& request) {
  Problems problems;
  const std::vector<RotaryAngles> positions = every_position(request);
  for (std::size_t i = 0; i < result.axes.size() && i < max_rotary_axes; ++i) {
    const int axis = machine.rotary_index(result.axes[i].letter);
    if (axis < 0 || result.axes[i].side != AxisSide::work) continue;
    const Range& limits = machine.rotary[axis].travel_rad;
    const auto is_beyond = [&](const RotaryAngles& angles) {
      return !limits.contains(angles[i], limit_slack_rad);
    };
    const auto first = std::find_if(positions.begin(), positions.end(), is_beyond);
    if (first == positions.end()) continue;
    problems.push_back({ProblemNumber::out_of_range,
                        fmt::format("{}: axis {} turns from {} only{}", angles_text(result, *first),
                                    result.axes[i].letter, degrees_text(limits),
                                    others_text(std::count_if(first, positions.end(), is_beyond))),
                        {},
                        "ask for angles within the limits of the machine file"});
  }
  return problems;
}

Problems outside_travel(const FitResult& result, const Machine& machine,
                        const ReseatRequest& request, const ReseatTable& table) {
  Problems taught;
  Problems turned;
  for (int k = 0; k < 3; ++k) {
    if (auto problem = taught_outside(machine, request, k)) taught.push_back(*problem);
    if (auto problem = outside_travel_along(result, machine, request, table, k)) {
      turned.push_back(*problem);
    }
  }
  // What follows from a taught offset that cannot be right says nothing more.
  return taught.empty() ? turned : taught;
}

}  // namespace pivotrace

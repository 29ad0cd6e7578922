// Work offsets for each index angle, as a program of one control.
#include <fmt/format.h>

#include <algorithm>

#include "base/cautions.h"
#include "base/number_text.h"
#include "pivotrace/control/emit.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/reseat.h"
#include "pivots/offset_setting.h"

namespace pivotrace {

namespace {

std::string taught_text(const ReseatRequest& request) {
  const bool inch = request.unit == LengthUnit::inch;
  const Eigen::Vector3d shown = request.taught_mm / (inch ? mm_per_inch : 1.0);
  const int decimals = inch ? program_decimals_inch : program_decimals_mm;
  return fmt::format("X {} Y {} Z {} {}", fixed_text(shown.x(), decimals),
                     fixed_text(shown.y(), decimals), fixed_text(shown.z(), decimals),
                     unit_word(QuantityKind::length, request.unit));
}

std::string worst_U95_text(const ReseatRequest& request, const ReseatTable& table) {
  double worst_mm = 0.0;
  for (const ReseatRow& row : table.rows) worst_mm = std::max(worst_mm, row.U95_mm.maxCoeff());
  const bool inch = request.unit == LengthUnit::inch;
  return uncertainty_text(shown_value(QuantityKind::length, worst_mm, request.unit),
                          inch ? program_decimals_inch : program_decimals_mm) +
         " " + unit_word(QuantityKind::length, request.unit);
}

std::string range_text(const ReseatTable& table, const ControlSheet& sheet) {
  return fmt::format("{} to {}", work_offset_name(sheet, table.rows.front().work_offset),
                     work_offset_name(sheet, table.rows.back().work_offset));
}

std::vector<std::string> header(const FitResult& result, const ReseatRequest& request,
                                const ReseatTable& table, const ControlSheet& sheet) {
  std::vector<std::string> lines = {
      "by pivotrace " + result.version,
      "machine: " + result.machine_name,
      fmt::format("taught at {}: {}", angles_text(result, request.taught_at_rad),
                  taught_text(request)),
      "written: " + request.date,
      measured_line(result),
      "U95 from the axis lines, worst coordinate: " + worst_U95_text(request, table),
      caution(wrong_value_caution),
      only_this_set_up,
      fmt::format("This program replaces {} and keeps no copy: write the old ones down first.",
                  range_text(table, sheet)),
      "It acts at once on the active offset. A shift of the program origin in force adds to it.",
      taught_offset_caution,
      "Index the axis first, then call the offset that belongs to the angle."};
  for (const std::string& warning : table.warnings) lines.push_back("NOTE: " + warning);
  return lines;
}

/// Half a set of offsets is worse than none.
Problems runs_out(const ReseatRequest& request, const ReseatTable& table,
                  const ControlSheet& sheet) {
  const int last = request.first_offset + static_cast<int>(table.rows.size()) - 1;
  const OffsetRules& rules = sheet.offsets;
  if (!table.offsets_run_out && last <= rules.last_system &&
      request.first_offset >= rules.first_system) {
    return {};
  }
  return {{ProblemNumber::offsets_run_out,
           fmt::format("{} positions from work offset {} on need more than the control sheet `{}` "
                       "writes, {} to {}",
                       table.rows.size(), request.first_offset, sheet.name, rules.first_system,
                       rules.last_system),
           {},
           "ask for fewer angles, start at a lower offset, or take the table (--form table or csv) "
           "and set them one after the other"}};
}

}  // namespace

Expected<std::string> reseat_program(const FitResult& result, const ReseatRequest& request,
                                     const ReseatTable& table, const ControlSheet& sheet,
                                     bool simulated_allowed) {
  Problems problems = refuse_simulated(result, simulated_allowed);
  for (Problem& problem : runs_out(request, table, sheet)) problems.push_back(std::move(problem));
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  ControlProgram program =
      offset_setting("work offsets for each index angle", result, request.unit,
                     header(result, request, table, sheet), range_text(table, sheet));
  for (const ReseatRow& row : table.rows) {
    program.steps.push_back(Step{RemarkStep{angles_text(result, row.angles_rad)}});
    program.steps.push_back(Step{SetOffsetStep{
        row.work_offset,
        {length(row.offset_mm.x()), length(row.offset_mm.y()), length(row.offset_mm.z())}}});
  }
  return emit(program, sheet).map([](const EmittedProgram& made) { return made.text; });
}

}  // namespace pivotrace

#include "pivotrace/report/confirm_text.h"

#include <fmt/format.h>

#include <cmath>

#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/results/statistics.h"
#include "report/change_columns.h"

namespace pivotrace {

namespace {

using report::ChangeColumns;

std::string row(const std::string& name, const std::string& written, const std::string& found,
                const std::string& off, const std::string& U95, const std::string& tolerance,
                const std::string& verdict) {
  std::string text = fmt::format("  {:<16} {:>12} {:>12} {:>11} {:>9} {:>9}  {}", name, written,
                                 found, off, U95, tolerance, verdict);
  return text.erase(text.find_last_not_of(' ') + 1) + "\n";
}

std::string unit_row(const ValueName& name, const ChangeColumns& columns) {
  const char* small = columns.change_unit(name);
  return row("", columns.value_unit(name), columns.value_unit(name), small, small, small, "");
}

std::string table(const std::vector<ConfirmedValue>& values, const ChangeColumns& columns) {
  std::string text = row("value", "written", "found", "off", "U95", "tolerance", "");
  for (std::size_t i = 0; i < values.size(); ++i) {
    const ConfirmedValue& value = values[i];
    const bool new_unit = i == 0 || is_angle(value.name) != is_angle(values[i - 1].name);
    if (new_unit) text += unit_row(value.name, columns);
    const double U95 = bounded_expanded(value.u, value.dof, value.B);
    text += row(text_of(value.name), columns.value(value.name, value.written),
                columns.value(value.name, value.found), columns.change(value.name, value.off()),
                columns.size(value.name, U95), columns.size(value.name, value.tolerance),
                holding_word(value.holding));
  }
  return text;
}

const char* headline(Holding holding) {
  switch (holding) {
    case Holding::holds: return "THE VALUES WRITTEN HOLD within the tolerance of each.";
    case Holding::does_not:
      return "THE VALUES WRITTEN DO NOT HOLD. Do not cut with them: write the new result "
             "(pivotrace write "
             "NEW), then confirm that one.";
    case Holding::cannot_tell:
      return "CANNOT TELL whether the values written hold: the new survey is not good enough for "
             "this "
             "tolerance. Survey with more stations, or accept a wider one (--within).";
  }
  return "";
}

const char* cut_headline(const CutEvidence& evidence) {
  switch (evidence.holding) {
    case Holding::holds: return "the cut says: the centre written holds within its tolerance.";
    case Holding::does_not:
      return "the cut says: the centre written does not hold, if the step came from the centre "
             "alone.";
    case Holding::cannot_tell: return "the cut cannot tell whether the centre written holds.";
  }
  return "";
}

}  // namespace

const char* holding_word(Holding holding) {
  switch (holding) {
    case Holding::holds: return "holds";
    case Holding::does_not: return "does not hold";
    case Holding::cannot_tell: return "cannot tell";
  }
  return "";
}

std::string confirm_text(const FitResult& written, const std::vector<ConfirmedValue>& values,
                         LengthUnit unit) {
  std::string text = fmt::format("Machine \"{}\"\n", written.machine_name);
  text += wrapped(headline(overall(values)), "", 0);
  return text + "\n" + table(values, ChangeColumns(unit));
}

std::string cut_text(const CutTest& cut, const CutEvidence& evidence, LengthUnit unit) {
  const ChangeColumns columns(unit);
  std::string text =
      fmt::format("Cut at {} {} and {} deg\n", cut.axis, fixed_text(deg_from_rad(cut.first_rad), 3),
                  fixed_text(deg_from_rad(cut.second_rad), 3));
  text += fmt::format("  step measured  {}, U95 {}; a centre within its U95 makes at most {}\n",
                      columns.small(cut.step_mm), columns.small(cut.step_U95_mm),
                      columns.small(evidence.expected_mm));
  text += fmt::format("  centre off by  {}, U95 {}, tolerance {}\n", columns.small(evidence.off_mm),
                      columns.small(evidence.off_U95_mm), columns.small(evidence.tolerance_mm));
  text += wrapped(cut_headline(evidence), "  ", 2);
  if (evidence.something_else) {
    text += wrapped(
        "The step is larger than the centre can make: something else than the centre, or a centre "
        "that moved since. Look at tool wear and length, deflection, clamping and the lean of the "
        "axis; survey again before any value is changed.",
        "  ", 2);
  }
  return text;
}

}  // namespace pivotrace

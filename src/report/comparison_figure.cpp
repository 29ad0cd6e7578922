#include "pivotrace/report/comparison_figure.h"

#include <algorithm>
#include <cmath>

#include "report/chart_change.h"

namespace pivotrace {

namespace {

using report::ChangeChart;
using report::ChangeView;

constexpr double lean_length_mm = 300.0;
constexpr double lean_length_inch = 12.0;

/// Length of a lean, and what a change is counted in.
struct Units {
  double mm_per_change;
  double length_mm;
  double length;
  const char* change;
  const char* length_word;
};
Units units_of(LengthUnit unit) {
  if (unit == LengthUnit::inch)
    return {25.4e-4, 25.4 * lean_length_inch, lean_length_inch, "tenths", "inch"};
  return {1e-3, lean_length_mm, lean_length_mm, "\xC2\xB5m", "mm"};
}

const ValueChange* change_of(const SurveyComparison& comparison, char axis, ValueKind kind, int k) {
  const auto name = axis_value(axis, kind, static_cast<LinearAxis>(k));
  const auto found = std::ranges::find(comparison.values, name, &ValueChange::name);
  return found == comparison.values.end() ? nullptr : &*found;
}

/// Of an axis along X, Y or Z the machine directions across it; of a slanted one the two machine
/// directions it leans to least.
std::vector<int> across(const AxisChange& axis) {
  int along = 0;
  axis.old_line.direction.cwiseAbs().maxCoeff(&along);
  std::vector<int> directions;
  for (int k = 0; k < 3; ++k) {
    if (k != along) directions.push_back(k);
  }
  return directions;
}

ChangeView view_of(const SurveyComparison& comparison, const AxisChange& axis, int k,
                   const Units& units) {
  int along = 0;
  axis.old_line.direction.cwiseAbs().maxCoeff(&along);
  const auto slope = [&](const Line& line) { return line.direction[k] / line.direction[along]; };
  const double at_plane = axis.new_line.point_mm[k] - axis.old_line.point_mm[k];
  const double lean = slope(axis.new_line) - slope(axis.old_line);
  ChangeView view;
  view.axis = std::string(1, axis.letter);
  view.towards = "XYZ"[k];
  view.at_plane = at_plane / units.mm_per_change;
  view.further = (at_plane + lean * units.length_mm) / units.mm_per_change;
  if (const ValueChange* centre = change_of(comparison, axis.letter, ValueKind::centre, k)) {
    view.U95_at_plane = centre->U95 / units.mm_per_change;
  }
  // The lean towards k is the orientation about the third direction.
  if (const ValueChange* turn =
          change_of(comparison, axis.letter, ValueKind::orientation, 3 - along - k)) {
    view.U95_further = turn->U95 * units.length_mm / units.mm_per_change;
  }
  return view;
}

std::string claim_of(const SurveyComparison& comparison) {
  if (!comparison.moved) return "Nobody can tell whether anything moved";
  if (!*comparison.moved) return "Nothing moved beyond its tolerance";
  std::string letters;
  for (const AxisChange& axis : comparison.axes) {
    const bool moved = std::ranges::any_of(comparison.values, [&](const ValueChange& value) {
      return value.moved && value.name.axis == axis.letter;
    });
    if (moved) letters += (letters.empty() ? "" : " and ") + std::string(1, axis.letter);
  }
  return letters.empty() ? "Something moved; no single value shows it"
                         : "Axis " + letters + " moved";
}

report::Svg drawn(const SurveyComparison& comparison, LengthUnit unit) {
  const Units units = units_of(unit);
  ChangeChart chart;
  chart.claim = claim_of(comparison);
  chart.unit = units.change;
  chart.units_per_length_unit = units.length_mm / units.length / units.mm_per_change;
  chart.length = units.length;
  chart.length_unit = units.length_word;
  for (const AxisChange& axis : comparison.axes) {
    for (const int k : across(axis)) chart.views.push_back(view_of(comparison, axis, k, units));
  }
  return report::change_chart(chart);
}

constexpr const char* described =
    "Each rotary axis before (thin) and after (thick), seen from two sides; the changes are "
    "enlarged.";

}  // namespace

std::string comparison_svg(const SurveyComparison& comparison, LengthUnit unit) {
  return drawn(comparison, unit).file(claim_of(comparison), described);
}

}  // namespace pivotrace

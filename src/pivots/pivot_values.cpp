#include "pivotrace/pivots/pivot_values.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/number_text.h"
#include "base/words.h"
#include "base/wrapped_text.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

class ValueList {
 public:
  /// Adds the value only when it was estimated with an uncertainty.
  void add(const std::string& name, const std::string& symbol, const std::string& meaning,
           Quantity quantity, const Estimate& estimate, double factor = 1.0) {
    if (!std::isfinite(estimate.value) || !std::isfinite(estimate.U95_absolute)) return;
    PivotValue entry;
    entry.name = name;
    entry.symbol = symbol;
    entry.meaning = meaning;
    entry.quantity = quantity;
    entry.value = factor * estimate.value;
    entry.U95 = factor * estimate.U95_absolute;
    entry.U95_repeatable = factor * estimate.U95;
    values.push_back(entry);
  }

  std::vector<PivotValue> values;
};

const char* axis_word(LinearAxis axis) {
  switch (axis) {
    case LinearAxis::X: return "X";
    case LinearAxis::Y: return "Y";
    case LinearAxis::Z: return "Z";
  }
  return "?";
}

std::string quoted_plane_text(const AxisResult& axis) {
  if (!axis.along) return "in its quoted plane";
  return fmt::format("where it passes {} = {} mm", axis_word(*axis.along),
                     fixed_text(axis.quoted_at_mm, 3));
}

std::string origin_text(const AxisResult& axis) {
  return axis.side == AxisSide::work ? "in machine coordinates" : "from the shown position";
}

/// The plane itself is chosen, not measured: it has no uncertainty.
Estimate exact(double value) {
  Estimate estimate;
  estimate.value = value;
  estimate.u = estimate.U95 = estimate.u_absolute = estimate.U95_absolute = 0.0;
  return estimate;
}

void add_location(ValueList& list, const AxisResult& axis) {
  for (const NamedEstimate& location : axis.location) {
    list.add(fmt::format("{}.centre.{}", axis.letter, location.key), location.symbol,
             fmt::format("{} of the {} axis line {}, {}", location.key, axis.letter,
                         quoted_plane_text(axis), origin_text(axis)),
             Quantity::length, location.estimate);
  }
  if (axis.along) {
    list.add(fmt::format("{}.quoted_at.{}", axis.letter, axis_word(*axis.along)), "",
             fmt::format("{} of the plane the {} centre is quoted at (chosen, not measured)",
                         axis_word(*axis.along), axis.letter),
             Quantity::length, exact(axis.quoted_at_mm));
  }
}

void add_orientation(ValueList& list, const AxisResult& axis) {
  for (const NamedEstimate& angle : axis.orientation) {
    list.add(fmt::format("{}.orientation.{}", axis.letter, angle.key), angle.symbol,
             fmt::format("lean of the {} axis line about {}, right-handed", axis.letter,
                         angle.key == "A" ? "X" : (angle.key == "B" ? "Y" : "Z")),
             Quantity::angle, angle.estimate);
  }
  for (const NamedEstimate& angle : axis.orientation) {
    Estimate slope = angle.estimate;
    slope.value = mm_per_300_from_rad(angle.estimate.value);
    slope.U95 = 300.0 * angle.estimate.U95;
    slope.U95_absolute = 300.0 * angle.estimate.U95_absolute;
    list.add(fmt::format("{}.slope.{}", axis.letter, angle.key), angle.symbol,
             fmt::format("the same lean as {}.orientation.{}, as mm over 300 mm", axis.letter,
                         angle.key),
             Quantity::slope, slope);
  }
  list.add(fmt::format("{}.lean", axis.letter), "",
           fmt::format("angle between the {} axis line and its nominal direction, never negative",
                       axis.letter),
           Quantity::angle, axis.lean);
}

void add_arm(ValueList& list, const AxisResult& axis) {
  if (axis.pivot_to_stylus) {
    list.add(fmt::format("{}.pivot_to_stylus", axis.letter), "",
             fmt::format("distance from the {} axis line to the stylus-ball centre", axis.letter),
             Quantity::length, *axis.pivot_to_stylus);
  }
  if (axis.pivot_to_gauge) {
    list.add(fmt::format("{}.pivot_to_gauge", axis.letter), "",
             fmt::format("distance from the {} axis line to the gauge line of the spindle, "
                         "gauge_length of the machine file above the stylus-ball centre",
                         axis.letter),
             Quantity::length, *axis.pivot_to_gauge);
  }
}

void add_foot(ValueList& list, const AxisPairResult& pair, char on, char towards,
              const std::array<Estimate, 3>& foot) {
  for (int i = 0; i < 3; ++i) {
    const char coordinate = "XYZ"[i];
    list.add(fmt::format("{}{}.foot_on_{}.{}", pair.first, pair.second, on, coordinate), "",
             fmt::format("{} of the point on the {} axis line nearest to the {} axis line",
                         coordinate, on, towards),
             Quantity::length, foot[i]);
  }
}

void add_pair(ValueList& list, const AxisPairResult& pair) {
  const std::string name = fmt::format("{}{}", pair.first, pair.second);
  list.add(name + ".distance", "",
           fmt::format("shortest distance from the {} to the {} axis line, signed along "
                       "{} direction x {} direction",
                       pair.first, pair.second, pair.first, pair.second),
           Quantity::length, pair.distance);
  list.add(name + ".crossing", "",
           fmt::format("angle between the {} and {} axis lines", pair.first, pair.second),
           Quantity::angle, pair.crossing);
  add_foot(list, pair, pair.first, pair.second, pair.foot_on_first);
  add_foot(list, pair, pair.second, pair.first, pair.foot_on_second);
}

bool is_estimated(const FitResult& result, char letter) {
  return std::any_of(result.axes.begin(), result.axes.end(), [&](const AxisResult& axis) {
    return axis.letter == letter && axis.estimated;
  });
}

constexpr int names_suggested = 3;

}  // namespace

Problems reasons_not_to_write(const FitResult& result) {
  Problems problems;
  if (result.usable) return problems;
  for (const Finding& finding : result.findings) {
    if (finding.severity != Severity::error) continue;
    problems.push_back({ProblemNumber::not_usable,
                        fmt::format("not usable: {} ({})", finding.text, finding.code),
                        {},
                        finding.advice});
  }
  if (problems.empty()) {
    problems.push_back({ProblemNumber::not_usable,
                        "the fit marked this result as not usable",
                        {},
                        "read the findings of the fit and measure again"});
  }
  return problems;
}

Expected<std::vector<PivotValue>> pivot_values(const FitResult& result) {
  Problems reasons = reasons_not_to_write(result);
  if (!reasons.empty()) return tl::make_unexpected(std::move(reasons));
  ValueList list;
  for (const AxisResult& axis : result.axes) {
    if (!axis.estimated) continue;
    add_location(list, axis);
    add_orientation(list, axis);
    add_arm(list, axis);
  }
  for (const AxisPairResult& pair : result.axis_pairs) {
    if (is_estimated(result, pair.first) && is_estimated(result, pair.second)) {
      add_pair(list, pair);
    }
  }
  return list.values;
}

Expected<PivotValue> find_pivot_value(const std::vector<PivotValue>& values,
                                      const std::string& name) {
  std::vector<std::string> known;
  for (const PivotValue& value : values) {
    if (value.name == name) return value;
    known.push_back(value.name);
  }
  const std::vector<std::string> near = nearest_words(name, known, names_suggested);
  return failure({ProblemNumber::no_such_value,
                  fmt::format("this result has no value called \"{}\"", name),
                  {},
                  near.empty() ? "this result has no values at all"
                               : fmt::format("did you mean {}? `pivotrace write RESULT --list` "
                                             "shows every name",
                                             fmt::join(near, " or "))});
}

double shown_value(const PivotValue& value, double amount, LengthUnit unit) {
  if (value.quantity == Quantity::angle) return deg_from_rad(amount);
  return unit == LengthUnit::inch ? amount / mm_per_inch : amount;
}

std::string unit_word(Quantity quantity, LengthUnit unit) {
  const bool inch = unit == LengthUnit::inch;
  switch (quantity) {
    case Quantity::length: return inch ? "inch" : "mm";
    case Quantity::angle: return "deg";
    case Quantity::slope: return inch ? "inch/300mm" : "mm/300mm";
  }
  return "";
}

int shown_decimals(Quantity quantity, LengthUnit unit) {
  if (quantity == Quantity::angle) return 6;
  return unit == LengthUnit::inch ? 6 : 5;
}

std::string list_pivot_values(const std::vector<PivotValue>& values, LengthUnit unit) {
  std::size_t widest = 4;
  for (const PivotValue& value : values) widest = std::max(widest, value.name.size());
  std::string text = fmt::format("{:<{}}  {:>14}  {:>10}  {:<10}  {}\n", "name", widest, "value",
                                 "U95", "unit", "ISO 230-1");
  for (const PivotValue& value : values) {
    const int decimals = shown_decimals(value.quantity, unit);
    const std::string word = unit_word(value.quantity, unit);
    const std::string last =
        value.symbol.empty() ? word : fmt::format("{:<10}  {}", word, value.symbol);
    text += fmt::format("{:<{}}  {:>14}  {:>10}  {}\n", value.name, widest,
                        fixed_text(shown_value(value, value.value, unit), decimals),
                        uncertainty_text(shown_value(value, value.U95, unit), decimals), last);
    text += wrapped(value.meaning, "    ", 4);
  }
  return text + '\n' + wrapped(coordinates_note, "", 0);
}

}  // namespace pivotrace

#include "pivotrace/pivots/pivot_values.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/number_text.h"
#include "base/words.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

class ValueList {
 public:
  /// Adds the value only when it was estimated with an uncertainty.
  void add(const ValueName& name, const std::string& meaning, const Estimate& estimate) {
    if (!std::isfinite(estimate.value) || !std::isfinite(estimate.U95_absolute)) return;
    PivotValue entry;
    entry.name = name;
    entry.meaning = meaning;
    entry.quantity = quantity_kind(name.kind);
    entry.value = estimate.value;
    entry.U95 = estimate.U95_absolute;
    entry.U95_repeatable = estimate.U95;
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

void add_centre(ValueList& list, const AxisResult& axis) {
  for (const NamedEstimate& centre : axis.centre) {
    list.add(centre.name,
             fmt::format("{} of the {} axis line {}, {}", direction_text(centre.name), axis.letter,
                         quoted_plane_text(axis), origin_text(axis)),
             centre.estimate);
  }
  if (axis.along) {
    list.add(axis_value(axis.letter, ValueKind::quoted_at, *axis.along),
             fmt::format("{} of the plane the {} centre is quoted at (chosen, not measured)",
                         axis_word(*axis.along), axis.letter),
             exact(axis.quoted_at_mm));
  }
}

void add_orientation(ValueList& list, const AxisResult& axis) {
  for (const NamedEstimate& angle : axis.orientation) {
    list.add(angle.name,
             fmt::format("lean of the {} axis line about {}, right-handed", axis.letter,
                         axis_word(angle.name.direction.value())),
             angle.estimate);
  }
  for (const NamedEstimate& angle : axis.orientation) {
    Estimate slope = angle.estimate;
    slope.value = mm_per_300_from_rad(angle.estimate.value);
    slope.U95 = 300.0 * angle.estimate.U95;
    slope.U95_absolute = 300.0 * angle.estimate.U95_absolute;
    list.add(axis_value(axis.letter, ValueKind::slope, angle.name.direction),
             fmt::format("the same lean as {}, as mm over 300 mm", text_of(angle.name)), slope);
  }
  list.add(axis_value(axis.letter, ValueKind::lean),
           fmt::format("angle between the {} axis line and its nominal direction, never negative",
                       axis.letter),
           axis.lean);
}

void add_zero(ValueList& list, const AxisResult& axis) {
  if (!axis.zero) return;
  list.add(axis_value(axis.letter, ValueKind::zero),
           fmt::format("angle {} really stands at when it shows 0, told by {}", axis.letter,
                       axis.zero_by),
           *axis.zero);
}

void add_arm(ValueList& list, const AxisResult& axis) {
  if (axis.pivot_to_stylus) {
    list.add(axis_value(axis.letter, ValueKind::pivot_to_stylus),
             fmt::format("distance from the {} axis line to the stylus-ball centre", axis.letter),
             *axis.pivot_to_stylus);
  }
  if (axis.pivot_to_gauge) {
    list.add(axis_value(axis.letter, ValueKind::pivot_to_gauge),
             fmt::format("distance from the {} axis line to the gauge line of the spindle, "
                         "gauge_length of the machine file above the stylus-ball centre",
                         axis.letter),
             *axis.pivot_to_gauge);
  }
}

void add_foot(ValueList& list, const AxisPairResult& pair, ValueKind kind) {
  const bool first = kind == ValueKind::foot_on_first;
  const std::array<Estimate, 3>& foot = first ? pair.foot_on_first : pair.foot_on_second;
  for (int i = 0; i < 3; ++i) {
    const auto coordinate = static_cast<LinearAxis>(i);
    list.add(pair_value(pair.first, pair.second, kind, coordinate),
             fmt::format("{} of the point on the {} axis line nearest to the {} axis line",
                         axis_word(coordinate), first ? pair.first : pair.second,
                         first ? pair.second : pair.first),
             foot[i]);
  }
}

void add_pair(ValueList& list, const AxisPairResult& pair) {
  list.add(pair_value(pair.first, pair.second, ValueKind::distance),
           fmt::format("shortest distance from the {} to the {} axis line, signed along "
                       "{} direction x {} direction",
                       pair.first, pair.second, pair.first, pair.second),
           pair.distance);
  list.add(pair_value(pair.first, pair.second, ValueKind::crossing),
           fmt::format("angle between the {} and {} axis lines", pair.first, pair.second),
           pair.crossing);
  add_foot(list, pair, ValueKind::foot_on_first);
  add_foot(list, pair, ValueKind::foot_on_second);
  for (int i = 0; i < 3; ++i) {
    const auto coordinate = static_cast<LinearAxis>(i);
    list.add(pair_value(pair.first, pair.second, ValueKind::offset, coordinate),
             fmt::format("{} of the shortest way from the {} to the {} axis line, all axes at 0",
                         axis_word(coordinate), pair.first, pair.second),
             pair.offset[i]);
  }
}

void add_heights(ValueList& list, const ArtefactResult& flat) {
  for (const NamedEstimate& height : flat.heights) {
    list.add(height.name,
             fmt::format("height of the face {} over the {} axis line, along its outward normal",
                         flat.name, height.name.axis),
             height.estimate);
  }
}

bool is_estimated(const FitResult& result, char letter) {
  return std::any_of(result.axes.begin(), result.axes.end(), [&](const AxisResult& axis) {
    return axis.letter == letter && axis.estimated;
  });
}

constexpr int names_suggested = 3;

/// In the words of the file the result came from.
Problem reason_of(const Finding& finding) {
  const std::string code = text_of(finding.code);
  const auto* written = std::get_if<finding::AsWritten>(&finding.details);
  if (written == nullptr) return {ProblemNumber::not_usable, "not usable: " + code, {}, ""};
  return {ProblemNumber::not_usable,
          fmt::format("not usable: {} ({})", written->text, code),
          {},
          written->advice};
}

}  // namespace

Problems reasons_not_to_write(const FitResult& result) {
  Problems problems;
  if (result.usable) return problems;
  for (const Finding& finding : result.findings) {
    if (finding.severity != Severity::error) continue;
    problems.push_back(reason_of(finding));
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
    add_centre(list, axis);
    add_orientation(list, axis);
    add_zero(list, axis);
    add_arm(list, axis);
  }
  for (const AxisPairResult& pair : result.axis_pairs) {
    if (is_estimated(result, pair.first) && is_estimated(result, pair.second)) {
      add_pair(list, pair);
    }
  }
  for (const ArtefactResult& artefact : result.artefacts) add_heights(list, artefact);
  return list.values;
}

Expected<PivotValue> find_pivot_value(const std::vector<PivotValue>& values,
                                      const AskedValue& asked) {
  std::vector<std::string> known;
  for (const PivotValue& value : values) {
    if (value.name == asked.name) return value;
    known.push_back(text_of(value.name));
  }
  const std::vector<std::string> near = nearest_words(asked.written, known, names_suggested);
  return failure({ProblemNumber::no_such_value,
                  fmt::format("this result has no value called \"{}\"", asked.written),
                  {},
                  near.empty() ? "this result has no values at all"
                               : fmt::format("did you mean {}? `pivotrace write RESULT --list` "
                                             "shows every name",
                                             fmt::join(near, " or "))});
}

LengthUnit unit_of(const FitResult& result) {
  return result.inch ? LengthUnit::inch : LengthUnit::mm;
}

double shown_value(QuantityKind quantity, double amount, LengthUnit unit) {
  if (quantity == QuantityKind::angle) return deg_from_rad(amount);
  if (unit == LengthUnit::mm) return amount;
  // Over 12 inch, as the trade quotes a slope there.
  constexpr double inch_length_per_300_mm = 12.0 / 300.0;
  return quantity == QuantityKind::slope ? amount * inch_length_per_300_mm : amount / mm_per_inch;
}

std::string unit_word(QuantityKind quantity, LengthUnit unit) {
  const bool inch = unit == LengthUnit::inch;
  switch (quantity) {
    case QuantityKind::length: return inch ? "inch" : "mm";
    case QuantityKind::angle: return "deg";
    case QuantityKind::slope: return inch ? "inch/12inch" : "mm/300mm";
  }
  return "";
}

int shown_decimals(QuantityKind quantity, LengthUnit unit) {
  if (quantity == QuantityKind::angle) return 6;
  return unit == LengthUnit::inch ? 6 : 5;
}

}  // namespace pivotrace

#include "pivotrace/report/comparison_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "report/change_columns.h"
#include "report/motion_text.h"

namespace pivotrace {

namespace {

using namespace report;

std::string started_text(const std::string& started) {
  return started.empty() ? "date not recorded" : started;
}

std::string heading(const SurveyComparison& comparison) {
  return fmt::format("Machine \"{}\"\n  old  {}\n  new  {}\n", comparison.machine_name,
                     started_text(comparison.old_started), started_text(comparison.new_started));
}

const char* verdict_word(const ValueChange& value) {
  if (value.moved && value.within_tolerance) return "moved, within tolerance";
  if (value.moved) return "moved";
  if (value.within_tolerance) return "within tolerance";
  return "cannot tell";
}

std::string row(const std::string& name, const std::string& old_value, const std::string& new_value,
                const std::string& change, const std::string& U95, const std::string& smallest,
                const std::string& verdict) {
  std::string text = fmt::format("  {:<16} {:>12} {:>12} {:>11} {:>9} {:>9}  {}", name, old_value,
                                 new_value, change, U95, smallest, verdict);
  return text.erase(text.find_last_not_of(' ') + 1) + "\n";
}

std::string unit_row(const ValueName& name, const ChangeColumns& columns) {
  const char* small = columns.change_unit(name);
  return row("", columns.value_unit(name), columns.value_unit(name), small, small, small, "");
}

std::string table(const SurveyComparison& comparison, const ChangeColumns& columns) {
  std::string text = row("value", "old", "new", "change", "U95", "would show", "");
  bool first = true;
  bool angle = false;
  for (const ValueChange& value : comparison.values) {
    if (first || is_angle(value.name) != angle) text += unit_row(value.name, columns);
    first = false;
    angle = is_angle(value.name);
    text += row(text_of(value.name), columns.value(value.name, value.old_value),
                columns.value(value.name, value.new_value),
                columns.change(value.name, value.change), columns.size(value.name, value.U95),
                columns.size(value.name, value.smallest_seen), verdict_word(value));
  }
  return text;
}

/// "B.centre.X by +45.4 um, B.orientation.C by -53.1 um/300mm": those that moved, the surest first.
std::string moved_values_text(const SurveyComparison& comparison, const ChangeColumns& columns) {
  std::vector<const ValueChange*> moved;
  for (const ValueChange& value : comparison.values) {
    if (value.moved) moved.push_back(&value);
  }
  std::ranges::stable_sort(moved, std::greater<>(), [](const ValueChange* value) {
    return std::abs(value->change) / value->U95;
  });
  constexpr std::size_t most_named = 3;
  std::string text;
  for (std::size_t k = 0; k < std::min(moved.size(), most_named); ++k) {
    const ValueChange& value = *moved[k];
    text += fmt::format("{}{} by {} {}", k == 0 ? "" : ", ", text_of(value.name),
                        columns.change(value.name, value.change), columns.change_unit(value.name));
  }
  if (moved.size() > most_named) text += fmt::format(" and {} more", moved.size() - most_named);
  return text;
}

std::string headline(const SurveyComparison& comparison, const ChangeColumns& columns) {
  if (!comparison.moved) {
    return "CANNOT TELL whether anything moved. A change as large as under \"would show\" would "
           "have been seen in 8 of 10 such checks; a smaller one may be there.";
  }
  if (*comparison.moved) {
    const std::string values = moved_values_text(comparison, columns);
    return fmt::format("MOVED{}{}. Without any movement, changes like these come up {}.",
                       values.empty() ? "" : ": ", values,
                       chance_text(comparison.test.probability));
  }
  return "NOTHING MOVED beyond its tolerance: every change is proven to lie within it.";
}

std::string told_apart_lines(const Explanation& line) {
  if (line.told_apart_by.empty()) return "";
  std::string text = "These surveys cannot tell the causes on that line apart. What would:\n";
  for (const TellApart way : line.told_apart_by) text += wrapped(tell_apart_text(way), "  - ", 4);
  return text;
}

std::string explained(const SurveyComparison& comparison, const ChangeColumns& columns) {
  if (comparison.explanations.empty()) return "";
  const Explanation& best = comparison.explanations.front();
  std::string text = wrapped(
      fmt::format("WHAT MOVED ({} sure): {}.", percent_text(best.probability), causes_text(best)),
      "", 2);
  for (const std::string& sentence : {shift_text(best, columns), turn_text(best, columns)}) {
    if (!sentence.empty()) text += wrapped(sentence, "  ", 2);
  }
  if (comparison.explanations.size() > 1) {
    const Explanation& next = comparison.explanations[1];
    text += wrapped(
        fmt::format("next likely: {} ({})", causes_text(next), percent_text(next.probability)),
        "  ", 2);
  } else {
    text += "  No other explanation reaches 1 %.\n";
  }
  return text + told_apart_lines(best);
}

std::string step_for(const CauseName& cause) {
  switch (cause.cause) {
    case Cause::unit:
      return cause.side == AxisSide::work
                 ? "Look at clamps, keys and dirt under the unit. Re-tram it (pivotrace shim NEW "
                   "--feet "
                   "FEET), survey again, then write the new values (pivotrace write NEW)."
                 : "Have the head's fixing to the ram looked at; then write the new values "
                   "(pivotrace write "
                   "NEW).";
    case Cause::axis_bearing:
      return fmt::format(
          "Look for play in axis {}: push and pull with an indicator on it. If it gives, call "
          "service before cutting; if not, write the new values (pivotrace write NEW).",
          cause.axis);
    case Cause::axis_zero:
      return fmt::format(
          "Reference axis {} again and survey again; if it stays, have its zero set by "
          "whoever may.",
          cause.axis);
    case Cause::probe:
      return "Calibrate the probe (ring or ball) and survey again before anything is written.";
    case Cause::machine_zero:
      return "Home the machine again and survey again before anything is written.";
    case Cause::several: return "Survey again with more stations; several things may have moved.";
  }
  return "";
}

/// What is cheap to rule out comes before what takes spanners.
std::vector<CauseName> by_effort(std::vector<CauseName> causes) {
  const auto effort = [](const CauseName& cause) {
    switch (cause.cause) {
      case Cause::probe: return 0;
      case Cause::machine_zero: return 1;
      case Cause::axis_zero: return 2;
      case Cause::unit: return 3;
      case Cause::axis_bearing: return 4;
      case Cause::several: return 5;
    }
    return 6;
  };
  std::ranges::stable_sort(causes, std::less<>(), effort);
  return causes;
}

std::string what_to_do(const SurveyComparison& comparison) {
  const std::vector<std::string> steps = steps_to_take(comparison);
  std::string text = "WHAT TO DO\n";
  if (!comparison.moved.value_or(false)) return text + wrapped(steps.front(), "  ", 2);
  for (std::size_t k = 0; k + 1 < steps.size(); ++k) {
    text += wrapped(steps[k], fmt::format("  {}. ", k + 1), 5);
  }
  return text + wrapped(steps.back(), "  ", 2);
}

std::string artefact_lines(const SurveyComparison& comparison, const ChangeColumns& columns) {
  std::string text;
  for (const ArtefactShift& shift : comparison.artefacts) {
    text += wrapped(
        fmt::format("\"{}\" stands elsewhere by {}: no matter, the axes do not depend on it",
                    shift.name, columns.place(shift.shift_mm.norm())),
        "  note: ", 8);
  }
  return text;
}

}  // namespace

std::vector<std::string> steps_to_take(const SurveyComparison& comparison) {
  if (!comparison.moved) {
    return {
        "If a change smaller than that matters, survey again with more stations "
        "(pivotrace plan), or state what change does no harm (--within)."};
  }
  if (!*comparison.moved) return {"Nothing: go on working."};
  std::vector<std::string> steps;
  for (const CauseName& cause : by_effort(comparison.explanations.front().what)) {
    steps.push_back(step_for(cause));
  }
  steps.push_back(caution(hands_in_machine_caution) +
                  " After a crash the spindle, guides and tool holder may be hurt too: this survey "
                  "says nothing of them.");
  return steps;
}

std::string cause_text(const CauseName& cause) {
  switch (cause.cause) {
    case Cause::unit:
      return cause.side == AxisSide::work ? "the whole unit on the table"
                                          : "the whole head on its ram";
    case Cause::axis_bearing: return fmt::format("axis {} in its bearing", cause.axis);
    case Cause::axis_zero: return fmt::format("the zero of axis {}", cause.axis);
    case Cause::probe: return "the probe (stylus or calibration)";
    case Cause::machine_zero: return "the machine zero";
    case Cause::several: return "more than one of these at once";
  }
  return "";
}

std::string tell_apart_text(TellApart way) {
  switch (way) {
    case TellApart::fixed_artefact:
      return "touch an artefact that is fixed to the bed: if it moved as well, it was the probe or "
             "the "
             "machine zero";
    case TellApart::flip_spindle:
      return "touch one place with the spindle at 0 and at 180 deg: half the difference is the "
             "stylus "
             "offset";
    case TellApart::housing_indicator:
      return "put an indicator on the housing and push the axis: if only the axis gives, it is its "
             "bearing";
    case TellApart::more_touches:
      return "survey again with more stations and a second artefact height";
  }
  return "";
}

std::string note_text(const CompareNote& note, const SurveyComparison& comparison,
                      LengthUnit unit) {
  using Kind = CompareNote::Kind;
  const ChangeColumns columns(unit);
  switch (note.kind) {
    case Kind::gains_missing:
      return "a result made by an earlier version does not store how probe, slides and index "
             "errors "
             "act on each value: U95 counts them as if each survey had its own, although much of "
             "them cancels in a change; fit its touch record again";
    case Kind::probe_not_stated:
      return "which probe was used and when it was calibrated is not stated for both surveys: its "
             "errors are counted in each; state `probe` and `probe_calibrated` and they cancel "
             "(pivotrace help files)";
    case Kind::other_probe:
      return "another probe was used: its errors are counted in both surveys, and a shift of all "
             "centres may be the probe's";
    case Kind::other_calibration:
      return "the probe was calibrated in between: its errors are counted in both surveys";
    case Kind::other_load:
      return fmt::format(
          "the table carried another load: shifts between surveys are taken twice as large, {} per "
          "coordinate (common practice, no source)",
          columns.small(comparison.between_surveys_mm));
    case Kind::other_warmth:
      return fmt::format(
          "one survey was made on a cold machine: shifts between surveys are taken twice as large, "
          "{} per coordinate (common practice, no source)",
          columns.small(comparison.between_surveys_mm));
    case Kind::other_clamping:
      return "the axes were clamped in one survey and free in the other: index errors are counted "
             "in "
             "both";
    case Kind::other_rollover:
      return "angles were reached by another way round: index errors are counted in both surveys";
    case Kind::other_coupling:
      return fmt::format(
          "the toothed coupling of axis {} has another pitch: its index errors are counted in both "
          "surveys",
          note.axis);
    case Kind::other_tables: return "the control's compensation was another one";
    case Kind::simulated:
      return "SIMULATED: both results come from rehearsals, no machine was looked at. Every "
             "rehearsal "
             "draws index errors anew, a machine keeps its own";
    case Kind::simulated_beside_measured:
      return "one result comes from a rehearsal, the other from a machine: what moved between them "
             "happened on no machine";
    case Kind::between_assumed:
      return fmt::format(
          "temperature and re-clamping between the surveys: {} per coordinate is assumed "
          "(common practice, no source); state yours with --between",
          columns.small(comparison.between_surveys_mm));
    case Kind::machine_file_differs: return "the machine file was changed between the two results";
    case Kind::no_dates:
      return "a date is missing: that the first result is the older one is taken on trust";
    case Kind::other_plane:
      return fmt::format(
          "the centre of axis {} is quoted at another plane in each result and left out",
          note.axis);
    case Kind::only_old: return fmt::format("axis {} was turned in the old survey only", note.axis);
    case Kind::only_new: return fmt::format("axis {} was turned in the new survey only", note.axis);
    case Kind::other_machine: return "the two results name different machines";
  }
  return "";
}

std::string comparison_text(const SurveyComparison& comparison, LengthUnit unit) {
  const ChangeColumns columns(unit);
  std::string text = heading(comparison);
  text += wrapped(headline(comparison, columns), "", 0);
  text += "\n" + table(comparison, columns) + "\n";
  text += explained(comparison, columns);
  text += what_to_do(comparison);
  text += artefact_lines(comparison, columns);
  for (const CompareNote& note : comparison.notes) {
    text += wrapped(note_text(note, comparison, unit), "  note: ", 8);
  }
  return text;
}

}  // namespace pivotrace

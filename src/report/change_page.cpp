#include "pivotrace/report/change_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "base/cautions.h"
#include "base/number_text.h"
#include "pivotrace/report/comparison_text.h"
#include "pivotrace/report/history_text.h"
#include "report/change_columns.h"
#include "report/charts.h"
#include "report/figure_page.h"
#include "report/motion_text.h"

namespace pivotrace {

namespace {

using namespace report;

FigurePage page_of(const std::string& machine, bool simulated, const ChangePageOptions& options) {
  FigurePage page;
  page.title = machine;
  page.caution = (simulated ? std::string(simulated_notice) + " " : "") + wrong_value_caution;
  for (const ReportedFile& file : options.files) {
    page.files.push_back({file.role, file.file, file.sha256});
  }
  page.foot = options.date + ", pivotrace " + options.version;
  return page;
}

std::string started_text(const std::string& started) {
  return started.empty() ? "date not recorded" : started;
}

/// "um/300mm" with the letter a page has for it.
std::string unit_of(const ValueName& name, const ChangeColumns& columns) {
  const std::string unit = columns.change_unit(name);
  return unit.starts_with("um") ? "\xC2\xB5m" + unit.substr(2) : unit;
}

// --- two results ----------------------------------------------------------------------------------

std::string verdict_of(const SurveyComparison& comparison) {
  if (!comparison.moved) return "Cannot tell whether anything moved.";
  if (!*comparison.moved) return "Nothing moved beyond its tolerance.";
  return "MOVED. Without any movement, changes like these come up " +
         chance_text(comparison.test.probability) + ".";
}

const char* word_of(const ValueChange& value) {
  if (value.moved && value.within_tolerance) return "moved, within tolerance";
  if (value.moved) return "moved";
  if (value.within_tolerance) return "within tolerance";
  return "cannot tell";
}

/// The largest change of one kind against its U95, as a sentence.
std::string change_claim(const std::vector<const ValueChange*>& values,
                         const ChangeColumns& columns) {
  const ValueChange& worst = **std::max_element(
      values.begin(), values.end(), [](const ValueChange* a, const ValueChange* b) {
        return std::abs(a->change) / a->U95 < std::abs(b->change) / b->U95;
      });
  const std::string amount =
      columns.change(worst.name, worst.change) + " " + unit_of(worst.name, columns);
  if (std::abs(worst.change) <= worst.U95) return "No change is beyond its U95";
  if (!worst.moved) return text_of(worst.name) + ": beyond its U95, but one of many";
  return fmt::format("{} changed by {}", text_of(worst.name), amount);
}

Figure changes_figure(const SurveyComparison& comparison, bool angles,
                      const ChangeColumns& columns) {
  std::vector<const ValueChange*> values;
  for (const ValueChange& value : comparison.values) {
    if (is_angle(value.name) == angles) values.push_back(&value);
  }
  Figure figure;
  if (values.empty()) return figure;
  ValueChart chart;
  chart.unit = unit_of(values.front()->name, columns);
  figure.numbers.head = {"value", "old", "new", "change", "U95", "would show", "verdict"};
  for (const ValueChange* value : values) {
    chart.rows.push_back({text_of(value->name), columns.in_change_unit(value->name, value->change),
                          columns.in_change_unit(value->name, value->U95)});
    figure.numbers.rows.push_back(
        {text_of(value->name), columns.value(value->name, value->old_value),
         columns.value(value->name, value->new_value), columns.change(value->name, value->change),
         columns.size(value->name, value->U95), columns.size(value->name, value->smallest_seen),
         word_of(*value)});
  }
  figure.claim = change_claim(values, columns);
  figure.subtitle =
      std::string(angles ? "Leans" : "Places") + ", new less old, with U95 of the change";
  figure.svg = value_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

std::string explanation_text(const Explanation& line, const ChangeColumns& columns) {
  std::string text = causes_text(line) + ": " + percent_text(line.probability) + ".";
  for (const std::string& sentence : {shift_text(line, columns), turn_text(line, columns)}) {
    if (!sentence.empty()) text += " " + sentence;
  }
  for (const TellApart way : line.told_apart_by) text += " To tell: " + tell_apart_text(way) + ".";
  return text;
}

PageSection explanations_of(const SurveyComparison& comparison, const ChangeColumns& columns) {
  PageSection section{"What moved, most probable first", {}};
  for (const Explanation& line : comparison.explanations) {
    section.paragraphs.push_back(explanation_text(line, columns));
  }
  for (const ArtefactShift& artefact : comparison.artefacts) {
    section.paragraphs.push_back(fmt::format("{} stands elsewhere by {}: no matter for the axes.",
                                             artefact.name,
                                             columns.small(artefact.shift_mm.norm())));
  }
  return section;
}

// --- a history ------------------------------------------------------------------------------------

std::string date_text(double time_s) {
  const std::chrono::sys_days day = std::chrono::floor<std::chrono::days>(
      std::chrono::sys_seconds(std::chrono::seconds(std::llround(time_s))));
  const std::chrono::year_month_day date(day);
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

double time_at(const History& history, const ValueHistory& value, std::size_t point) {
  return history.epochs[value.points[point].epoch].time_s;
}

std::string history_claim(const History& history, const ValueHistory& value,
                          const ChangeColumns& columns) {
  const std::string name = text_of(value.name);
  if (!value.jumps.empty()) {
    const Jump& jump = value.jumps.back();
    return fmt::format("{} jumped by {} {} between {} and {}", name,
                       columns.change(value.name, jump.size), unit_of(value.name, columns),
                       date_text(time_at(history, value, jump.before)),
                       date_text(time_at(history, value, jump.before + 1)));
  }
  if (value.trend.creeps) {
    return fmt::format("{} creeps by {} {} a month", name,
                       columns.change(value.name, value.trend.per_month),
                       unit_of(value.name, columns));
  }
  const bool cried = std::ranges::any_of(value.points, &HistoryPoint::alarm);
  return name + (cried ? " is restless" : " is steady");
}

std::string next_text(const ValueHistory& value) {
  switch (value.next.kind) {
    case NextCheck::Kind::no_limit: return "";
    case NextCheck::Kind::not_enough_results: return " Too few results to say when to look again.";
    case NextCheck::Kind::overdue: return " The next check is overdue.";
    case NextCheck::Kind::by_date:
      return " Look again before " + date_text(value.next.time_s) + ".";
    case NextCheck::Kind::beyond_horizon: return " No limit is near within five years.";
  }
  return "";
}

Figure history_figure(const History& history, const ValueHistory& value,
                      const ChangePageOptions& options) {
  const ChangeColumns columns(options.unit);
  Figure figure;
  if (value.points.empty()) return figure;
  HistoryChart chart;
  chart.unit = unit_of(value.name, columns);
  chart.chart_limit = history.design.limit;
  if (value.limits) {
    for (const double end : {value.limits->low, value.limits->high}) {
      if (!std::isfinite(end)) continue;
      chart.limits.push_back(columns.in_change_unit(value.name, end - value.points.front().value));
    }
  }
  for (const Jump& jump : value.jumps) chart.jumps_after.push_back(jump.before);
  figure.numbers.head = {"date", "value", "U95", "chart", ""};
  for (std::size_t i = 0; i < value.points.size(); ++i) {
    const HistoryPoint& point = value.points[i];
    const double time = time_at(history, value, i);
    chart.points.push_back(
        {time, date_text(time),
         columns.in_change_unit(value.name, point.value - value.points.front().value),
         columns.in_change_unit(value.name, point.U95), point.chart, point.alarm});
    figure.numbers.rows.push_back({date_text(time), columns.value(value.name, point.value),
                                   columns.size(value.name, point.U95),
                                   shown_signed(point.chart, 2), point.alarm ? "alarm" : ""});
  }
  figure.claim = history_claim(history, value, columns);
  figure.subtitle =
      "Change from the first result with U95; under it the control chart of the value, "
      "and the lines at which it gives the alarm." +
      next_text(value);
  figure.svg = history_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

std::string verdict_of(const History& history) {
  const auto jumped =
      std::ranges::count_if(history.values, [](const ValueHistory& v) { return !v.jumps.empty(); });
  const auto creeping =
      std::ranges::count_if(history.values, [](const ValueHistory& v) { return v.trend.creeps; });
  if (jumped == 0 && creeping == 0) {
    return history.alarmed()
               ? "Restless: a chart gave the alarm, but no jump and no creeping is proven."
               : "Nothing jumped, nothing creeps, as far as these results can show.";
  }
  return fmt::format("{} of {} values jumped, {} creep.", jumped, history.values.size(), creeping);
}

}  // namespace

std::string comparison_page(const SurveyComparison& comparison, const ChangePageOptions& options) {
  const ChangeColumns columns(options.unit);
  FigurePage page = page_of(comparison.machine_name, comparison.simulated, options);
  page.subject = "What moved from " + started_text(comparison.old_started) + " to " +
                 started_text(comparison.new_started);
  page.verdict = verdict_of(comparison);
  for (const bool angles : {false, true}) {
    Figure figure = changes_figure(comparison, angles, columns);
    if (!figure.svg.empty()) page.figures.push_back(std::move(figure));
  }
  page.sections.push_back(explanations_of(comparison, columns));
  page.sections.push_back({"What to do", steps_to_take(comparison)});
  PageSection notes{"Notes", {}};
  for (const CompareNote& note : comparison.notes) {
    notes.paragraphs.push_back(note_text(note, comparison, options.unit));
  }
  page.sections.push_back(notes);
  return figure_page(page);
}

std::string history_page(const History& history, const ChangePageOptions& options) {
  FigurePage page = page_of(history.machine_name, history.simulated(), options);
  page.subject = fmt::format("{} results", history.epochs.size());
  if (!history.epochs.empty()) {
    page.subject += fmt::format(", {} to {}", date_text(history.epochs.front().time_s),
                                date_text(history.epochs.back().time_s));
  }
  page.verdict = verdict_of(history);
  for (const ValueHistory& value : history.values) {
    Figure figure = history_figure(history, value, options);
    if (!figure.svg.empty()) page.figures.push_back(std::move(figure));
  }
  page.sections.push_back({"Made otherwise than the newest", condition_texts(history)});
  PageSection left_out{"Files that took no part", {}};
  for (const LeftOutOfHistory& file : history.left_out) {
    left_out.paragraphs.push_back(file.file + ": " + left_out_text(file));
  }
  page.sections.push_back(left_out);
  return figure_page(page);
}

}  // namespace pivotrace

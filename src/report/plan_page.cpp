#include "pivotrace/report/plan_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/cautions.h"
#include "base/length_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/rehearsal_text.h"
#include "report/charts.h"
#include "report/figure_page.h"
#include "report/rehearsal_scene.h"
#include "report/setup_drawing.h"

namespace pivotrace {

namespace {

using namespace report;

constexpr const char* degree = "\xC2\xB0";

/// A value the plan promises, in the unit a page shows it in.
struct Promise {
  std::string name;
  double repeatable = 0.0;
  double absolute = 0.0;
};

std::vector<Promise> promises_of(const FitResult& prediction, bool angles, const PageUnit& unit) {
  std::vector<Promise> promises;
  const auto shown_in = [&](double value) {
    return angles ? arcsec_from_rad(value) : unit.small(value);
  };
  for (const AxisResult& axis : prediction.axes) {
    if (!axis.estimated) continue;
    for (const NamedEstimate& named : angles ? axis.orientation : axis.centre) {
      promises.push_back({text_of(named.name), shown_in(named.estimate.U95),
                          shown_in(named.estimate.U95_absolute)});
    }
  }
  return promises;
}

const Promise& worst_of(const std::vector<Promise>& promises) {
  return *std::ranges::max_element(promises, {}, &Promise::absolute);
}

std::string amount_text(const Promise& promise, const std::string& unit) {
  return shown(promise.absolute, decimals_for(promise.absolute, 2)) + " " + unit;
}

Figure promise_figure(const std::vector<Promise>& promises, bool angles, const std::string& unit) {
  Figure figure;
  if (promises.empty()) return figure;
  ValueChart chart{unit, {}};
  figure.numbers.head = {"value", "U95 to write it, " + unit, "to compare two surveys, " + unit};
  for (const Promise& promise : promises) {
    chart.rows.push_back({promise.name, 0.0, promise.absolute});
    figure.numbers.rows.push_back({promise.name,
                                   shown(promise.absolute, decimals_for(promise.absolute, 2)),
                                   shown(promise.repeatable, decimals_for(promise.repeatable, 2))});
  }
  const Promise& worst = worst_of(promises);
  figure.claim = fmt::format("{} will be known to {}, the others better", worst.name,
                             amount_text(worst, unit));
  if (promises.size() == 1) {
    figure.claim = fmt::format("{} will be known to {}", worst.name, amount_text(worst, unit));
  }
  figure.subtitle = std::string(angles ? "Leans" : "Centres") + ": absolute U95 the plan promises";
  figure.svg = value_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

std::string angles_text(const Machine& machine, const RotaryAngles& angles_rad) {
  std::string text;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format("{}{} {}{}", text.empty() ? "" : ", ", machine.rotary[i].letter,
                        shown(deg_from_rad(angles_rad[i]), 1), degree);
  }
  return text;
}

/// The stations in the order they are touched, under the drawing that numbers them.
Figure setup_figure(const Machine& machine, const Plan& plan) {
  Figure figure;
  figure.claim = fmt::format("{} stations, {} touches, about {} minutes", plan.stations.size(),
                             plan.touch_count(), shown(plan.minutes, 1));
  figure.subtitle = "Set up like this; stations are numbered in the order they are touched";
  figure.svg = setup_drawing(machine, plan, false).element(figure.claim, figure.subtitle);
  const bool flips = std::ranges::any_of(plan.stations, &PlannedStation::flip);
  figure.numbers.head = {"station", "angles", "touches"};
  if (flips) figure.numbers.head.emplace_back("spindle");
  for (const PlannedStation& station : plan.stations) {
    figure.numbers.rows.push_back({station.label, angles_text(machine, station.angles_rad),
                                   std::to_string(station.touches.size())});
    if (flips) {
      figure.numbers.rows.back().push_back(station.flip ? std::string("180") + degree : "");
    }
  }
  return figure;
}

Figure rehearsal_figure(const Machine& machine, const RehearsalReport& report) {
  Figure figure;
  const PictureSubject subject = picture_subject(report, machine.inch);
  figure.claim = subject.title;
  figure.subtitle = "The rehearsal at its narrowest, or where it stopped; below, the time it took";
  figure.svg = rehearsal_drawing(machine, report.state_at_end, subject)
                   .element(figure.claim, figure.subtitle);
  figure.numbers.head = {"angles", "touches", "seconds", "share, %"};
  for (const StationTime& station : report.stations) {
    if (station.touches == 0) continue;
    figure.numbers.rows.push_back({angles_text(machine, station.angles_rad),
                                   std::to_string(station.touches), shown(station.seconds, 1),
                                   shown(100.0 * station.seconds / report.seconds, 0)});
  }
  return figure;
}

std::string run_text(const RehearsalReport& report) {
  if (report.passed) return "The rehearsal passed: the program ran to its end, nothing was hit.";
  return "THE REHEARSAL DID NOT PASS: do not run this program.";
}

std::string verdict_of(const std::vector<Promise>& centres, const std::vector<Promise>& leans,
                       const PageUnit& unit, const RehearsalReport* rehearsal) {
  std::string text;
  if (!centres.empty()) {
    text = "Promises " + amount_text(worst_of(centres), unit.small_word());
    if (!leans.empty()) text += " and " + amount_text(worst_of(leans), "arcsec");
    text += " (U95) on the worst value. ";
  }
  if (rehearsal == nullptr) return text + "Not rehearsed.";
  return text + run_text(*rehearsal);
}

PageSection rehearsal_section(const Machine& machine, const RehearsalReport& report) {
  PageSection section{"The rehearsal", {}};
  for (const Problem& problem : report.run.problems)
    section.paragraphs.push_back(describe(problem));
  for (const Violation& violation : report.violations) {
    section.paragraphs.push_back(
        fmt::format("Line {}: {}.", violation.moment.line, violation.text));
  }
  section.paragraphs.push_back(fmt::format(
      "{} moves, {} touches, {} stops for the operator, {} minutes of motion. The stylus was "
      "pressed {} beyond the trigger at most.",
      report.moves, report.touches.size(), report.operator_stops, shown(report.seconds / 60.0, 1),
      length_text(report.largest_overtravel_mm, machine.inch, 3)));
  for (const std::string& note : report.notes) section.paragraphs.push_back("Note: " + note + ".");
  section.paragraphs.emplace_back(
      "A rehearsal knows only what the files say: the machine may differ.");
  return section;
}

PageSection told_section(const RehearsalReport& report) {
  return {"What the program tells the operator, in this order", report.messages};
}

}  // namespace

std::string plan_page(const Machine& machine, const Plan& plan, const FitResult& prediction,
                      const PlanPageOptions& options) {
  const PageUnit unit(options.unit);
  const std::vector<Promise> centres = promises_of(prediction, false, unit);
  const std::vector<Promise> leans = promises_of(prediction, true, unit);
  FigurePage page;
  page.title = machine.name;
  page.subject = fmt::format("Plan {}: {}", identity_of(plan), word_of(plan.purpose));
  page.verdict = verdict_of(centres, leans, unit, options.rehearsal);
  page.caution = moving_machine_caution;
  page.figures.push_back(setup_figure(machine, plan));
  for (Figure figure : {promise_figure(centres, false, unit.small_word()),
                        promise_figure(leans, true, "arcsec"), budget_figure(prediction)}) {
    if (!figure.svg.empty()) page.figures.push_back(std::move(figure));
  }
  if (options.rehearsal != nullptr) {
    page.figures.push_back(rehearsal_figure(machine, *options.rehearsal));
    page.sections.push_back(rehearsal_section(machine, *options.rehearsal));
    page.sections.push_back(told_section(*options.rehearsal));
  }
  for (const ReportedFile& file : options.files) {
    page.files.push_back({file.role, file.file, file.sha256});
  }
  page.foot =
      fmt::format("plan {}, {}, pivotrace {}", identity_of(plan), options.date, options.version);
  return figure_page(page);
}

}  // namespace pivotrace

#include "pivotrace/report/result_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <kainjow/mustache.hpp>

#include "base/cautions.h"
#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/report/judge_text.h"
#include "report/charts.h"
#include "report/figure_data.h"
#include "report/look.h"
#include "report/page_template.h"
#include "report/result_figures.h"
#include "report/typeset.h"

namespace pivotrace {

namespace {

using kainjow::mustache::data;
using kainjow::mustache::mustache;
using report::Figure;
using report::PageUnit;
using report::shown;

constexpr const char* page_advice =
    " Before one goes into a control, check signs and the quoted plane.";

/// What tells one file from another on paper; the whole hash stands under Files.
constexpr std::size_t shown_of_a_hash = 12;

data text_list() { return data(data::type::list); }

std::string verdict_sentence(const FitResult& result, const JudgeReport* judged) {
  if (!result.usable) return "NOT USABLE: nothing may be written from this result.";
  if (judged == nullptr) return "Usable: its values may be written.";
  switch (judged->verdict) {
    case Verdict::conforms: return "Usable, and every limit is kept.";
    case Verdict::not_proven: return "Usable, but not every limit is proven to be kept.";
    case Verdict::does_not_conform: return "Usable, but NOT WITHIN LIMITS.";
  }
  return "";
}

data values_of(const FitResult& result, LengthUnit unit) {
  data list = text_list();
  const auto values = pivot_values(result);
  if (!values) return list;
  for (const PivotValue& value : *values) {
    const double U95 = shown_value(value.quantity, value.U95, unit);
    const bool chosen = U95 == 0.0;  // the plane a centre is quoted at
    const int decimals = chosen ? 3 : report::decimals_for(U95, 6);
    data entry;
    entry.set("name", text_of(value.name));
    entry.set("meaning", value.meaning);
    entry.set("number", shown(shown_value(value.quantity, value.value, unit), decimals));
    entry.set("U95", chosen ? "chosen" : uncertainty_text(U95, decimals));
    entry.set("unit", unit_word(value.quantity, unit));
    list.push_back(entry);
  }
  return list;
}

void add_figure(data& list, const Figure& figure) {
  if (figure.svg.empty()) return;
  list.push_back(report::figure_data(figure));
}

report::PartSteps steps_of(const FitResult& result, const ResultPageOptions& options) {
  if (options.part == nullptr || options.positions.empty()) return report::assumed_part(result);
  return {*options.part, options.positions, false};
}

data figures_of(const FitResult& result, const ResultPageOptions& options) {
  const PageUnit unit(options.unit);
  data list = text_list();
  if (options.judged != nullptr) add_figure(list, report::limits_figure(*options.judged));
  add_figure(list, report::values_figure(result, unit));
  for (std::size_t axis = 0; axis < result.axes.size(); ++axis) {
    add_figure(list, report::orbit_figure(result, axis, unit));
    add_figure(list, report::lean_figure(result, axis, unit));
  }
  add_figure(list, report::residuals_figure(result, unit));
  add_figure(list, report::budget_figure(result));
  for (const TrialSpread& spread : options.trials) {
    add_figure(list, report::trials_figure(result, spread, unit));
  }
  if (result.usable)
    add_figure(list, report::steps_figure(result, steps_of(result, options), unit));
  return list;
}

data findings_of(const FitResult& result) {
  constexpr const char* words[] = {"Note.", "WARNING.", "ERROR."};
  constexpr const char* severities[] = {"note", "warning", "error"};
  data list = text_list();
  for (const Finding& finding : result.findings) {
    const auto severity = static_cast<std::size_t>(finding.severity);
    const std::string advice = advice_of(finding);
    data entry;
    entry.set("word", words[severity]);
    entry.set("severity", severities[severity]);
    entry.set("what", report::sentence(what_of(finding)));
    if (!advice.empty()) entry.set("advice", report::typeset(advice));
    entry.set("code", text_of(finding.code));
    list.push_back(entry);
  }
  return list;
}

std::string length_text(const Estimate& estimate, const PageUnit& unit) {
  const int decimals = report::decimals_for(unit.from_mm(estimate.U95_absolute), 4);
  return shown(unit.from_mm(estimate.value), decimals);
}

data artefacts_of(const FitResult& result, const PageUnit& unit) {
  data list = text_list();
  for (const ArtefactResult& artefact : result.artefacts) {
    const std::string kind = kind_word(artefact.kind);
    data entry;
    entry.set("name", artefact.name == kind ? kind : kind + " " + artefact.name);
    entry.set("x", length_text(artefact.position[0], unit));
    entry.set("y", length_text(artefact.position[1], unit));
    entry.set("z", length_text(artefact.position[2], unit));
    entry.set("diameter", artefact.diameter ? length_text(*artefact.diameter, unit) : "");
    entry.set("touches", std::to_string(artefact.touches));
    list.push_back(entry);
  }
  return list;
}

std::string scatter_text(const FitResult& result, const PageUnit& unit) {
  const FitSummary& fit = result.fit;
  std::string text =
      fmt::format("touch {} {}, station {} {}", shown(unit.small(fit.touch_sigma_mm), 2),
                  unit.small_word(), shown(unit.small(fit.station_sigma_mm), 2), unit.small_word());
  for (const auto& [letter, sigma_rad] : fit.index_sigma_rad) {
    text += fmt::format(", index {} {} arcsec", letter, shown(arcsec_from_rad(sigma_rad), 1));
  }
  return text + " (one sigma; " + text_of(fit.sigma_source) + ")";
}

data conditions_of(const FitResult& result, const PageUnit& unit) {
  data list = text_list();
  const auto row = [&list](const std::string& name, const std::string& text) {
    if (text.empty()) return;
    data entry;
    entry.set("name", name);
    entry.set("text", text);
    list.push_back(entry);
  };
  const FitSummary& fit = result.fit;
  row("measured", result.started);
  row("fitted", result.made);
  row("touches", fmt::format("{}, {} left out; {} readings, {} unknowns", fit.touches, fit.excluded,
                             fit.readings, fit.unknowns));
  row("scatter", scatter_text(result, unit));
  if (fit.dof > 0.0) row("scatter found over stated", shown(fit.sigma0, 2));
  for (const EffectResult& effect : result.effects) {
    row("solved for as well", text_of(effect.name));
  }
  if (unit.unit() == LengthUnit::inch) row("tenths", "ten-thousandths of an inch (0.0001 in)");
  return list;
}

data files_of(const FitResult& result, const ResultPageOptions& options) {
  data list = text_list();
  const auto row = [&list](const std::string& role, const std::string& file,
                           const std::string& sha256) {
    data entry;
    entry.set("role", role);
    entry.set("file", file);
    entry.set("sha256", sha256);
    list.push_back(entry);
  };
  if (!options.file.empty()) row("result", options.file, options.sha256);
  for (const InputFile& input : result.inputs) row(input.role, input.file, input.sha256);
  return list;
}

/// "Rotary axis A", "Rotary axes A, C".
std::string axes_text(const FitResult& result) {
  std::vector<std::string> letters;
  for (const AxisResult& axis : result.axes) {
    if (axis.estimated) letters.emplace_back(1, axis.letter);
  }
  return fmt::format("Rotary {} {}", letters.size() == 1 ? "axis" : "axes",
                     fmt::join(letters, ", "));
}

data page_data(const FitResult& result, const ResultPageOptions& options) {
  const PageUnit unit(options.unit);
  data page;
  page.set("title", result.machine_name + ": " + axes_text(result));
  page.set("figure_css", report::figure_css());
  page.set("page_css", std::string(report::page_css));
  page.set("machine", result.machine_name);
  page.set("made_of", fmt::format("{}{}{}", axes_text(result),
                                  result.started.empty() ? "" : ", measured ", result.started));
  page.set("verdict", verdict_sentence(result, options.judged));
  const std::string simulated = result.simulated ? std::string(simulated_notice) + " " : "";
  page.set("caution", simulated + wrong_value_caution + page_advice);
  page.set("coordinates", coordinates_note);
  page.set("values", values_of(result, options.unit));
  if (!result.usable) page.set("no_values", "None: see the findings.");
  page.set("figures", figures_of(result, options));
  page.set("findings", findings_of(result));
  if (result.findings.empty()) page.set("no_findings", "None.");
  page.set("artefacts", artefacts_of(result, unit));
  page.set("setup_note",
           fmt::format("Where they sit with all rotary axes at 0, machine coordinates, {}",
                       unit.word()));
  page.set("conditions", conditions_of(result, unit));
  page.set("files", files_of(result, options));
  page.set("paper_foot",
           report::css_string(fmt::format("{} {} {}", options.file, options.date,
                                          options.sha256.substr(0, shown_of_a_hash))));
  page.set("foot", fmt::format("{} {}, pivotrace {}", options.file, options.date, result.version));
  return page;
}

}  // namespace

std::string result_page(const FitResult& result, const ResultPageOptions& options) {
  mustache page{std::string(report::result_page_template)};
  return page.render(page_data(result, options));
}

}  // namespace pivotrace

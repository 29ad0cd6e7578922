#include "pivotrace/report/fit_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "base/cautions.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/finding_words.h"

namespace pivotrace {

namespace {

/// Writes lengths in the unit of the machine file, always with the unit.
class Lengths {
 public:
  explicit Lengths(bool inch) : inch_(inch) {}
  const char* unit() const { return inch_ ? "in" : "mm"; }
  const char* small_unit() const { return inch_ ? "tenths" : "um"; }
  std::string coordinate(double mm) const {
    return inch_ ? fmt::format("{:.5f}", mm / mm_per_inch) : fmt::format("{:.4f}", mm);
  }
  std::string change(double mm) const {
    return inch_ ? fmt::format("{:+.5f}", mm / mm_per_inch) : fmt::format("{:+.4f}", mm);
  }
  std::string small(double mm) const {
    if (std::isnan(mm)) return "-";
    return fmt::format("{:+.1f}", inch_ ? mm / mm_per_inch * 1e4 : mm * 1e3);
  }
  std::string small_plain(double mm) const {
    if (std::isnan(mm)) return "-";
    return fmt::format("{:.1f}", inch_ ? mm / mm_per_inch * 1e4 : mm * 1e3);
  }
  /// Lean over the length the trade quotes it at: mm per 300 mm, or inch per 12 inch.
  const char* slope_unit() const { return inch_ ? "in/12in" : "mm/300mm"; }
  double slope(double rad) const {
    return inch_ ? mm_per_300_from_rad(rad) / 300.0 * 12.0 : mm_per_300_from_rad(rad);
  }

 private:
  bool inch_;
};

std::string heading(const std::string& text) { return text + "\n"; }

const char* turn_word(TurnSense sense) {
  return sense == TurnSense::right_hand ? "right-hand" : "left-hand";
}

std::string along_word(const AxisResult& axis) {
  if (!axis.along) return "its own direction";
  constexpr const char* words[3] = {"X", "Y", "Z"};
  return words[static_cast<int>(*axis.along)];
}

int along_index(const AxisResult& axis) { return axis.along ? static_cast<int>(*axis.along) : -1; }

std::string angle_list(const FitResult& result, std::size_t axis) {
  std::set<long long> seen;
  std::string text;
  for (const StationResult& station : result.stations) {
    const double degrees = deg_from_rad(station.angles_rad[axis]);
    if (!seen.insert(std::llround(degrees * 1e4)).second) continue;
    text += fmt::format(" {:.6g}", degrees + 0.0);
  }
  return text;
}

std::string measured(const FitResult& result) {
  std::set<std::string> stations;
  for (const StationResult& station : result.stations) stations.insert(station.label);
  std::string text = heading("MEASURED");
  const bool centres = result.fit.readings == 3 * (result.fit.touches - result.fit.excluded);
  text += fmt::format("  {} {} at {} stations", result.fit.touches,
                      centres ? "ball centres" : "touches", stations.size());
  for (std::size_t k = 0; k < result.artefacts.size(); ++k) {
    const ArtefactResult& artefact = result.artefacts[k];
    const std::string kind = kind_word(artefact.kind);
    const std::string name = artefact.name == kind ? kind : kind + " " + artefact.name;
    text += fmt::format("{}{} ({})", k == 0 ? " on " : ", ", name, artefact.touches);
  }
  text += "\n";
  for (std::size_t axis = 0; axis < result.axes.size(); ++axis) {
    text += fmt::format("  {} at{} deg\n", result.axes[axis].letter, angle_list(result, axis));
  }
  if (!result.started.empty()) text += fmt::format("  started {}\n", result.started);
  return text;
}

std::string scatter(const FitResult& result, const Lengths& lengths) {
  const FitSummary& fit = result.fit;
  std::string text = heading("SCATTER");
  text += fmt::format("  one sigma: touch {} {}, station {} {}",
                      lengths.small_plain(fit.touch_sigma_mm), lengths.small_unit(),
                      lengths.small_plain(fit.station_sigma_mm), lengths.small_unit());
  for (const auto& [letter, sigma_rad] : fit.index_sigma_rad) {
    if (sigma_rad > 0.0)
      text += fmt::format(", index {} {:.1f} arcsec", letter, arcsec_from_rad(sigma_rad));
  }
  for (const auto& [letter, sigma_mm] : fit.axis_motion_sigma_mm) {
    if (sigma_mm > 0.0) {
      text += fmt::format(", motion {} {} {}", letter, lengths.small_plain(sigma_mm),
                          lengths.small_unit());
    }
  }
  text += fmt::format("\n  source: {}\n", text_of(fit.sigma_source));
  if (fit.dof > 0.0) {
    text += fmt::format(
        "  {} readings, {} unknowns: scatter is {:.2f} times that (alarm above {:.2f})\n",
        fit.readings, fit.unknowns, fit.sigma0, std::sqrt(fit.chi2_limit / fit.dof));
  } else {
    text +=
        fmt::format("  {} readings, {} unknowns: nothing is left over to check the scatter with\n",
                    fit.readings, fit.unknowns);
  }
  return text;
}

std::string centre_table(const AxisResult& axis, const Lengths& lengths) {
  std::string text;
  const bool tool = axis.side == AxisSide::tool;
  text += fmt::format(
      "  centre{}, quoted at {} = {} {}\n", tool ? " from the position shown" : "",
      along_index(axis) >= 0 ? along_word(axis) : "distance along the nominal direction",
      lengths.coordinate(axis.quoted_at_mm), lengths.unit());
  text +=
      fmt::format("      {:>14}  {:>11}  {:>11}  {:>13}\n", "value", "U95", "U95", "from nominal");
  text += fmt::format("      {:>14}  {:>11}  {:>11}  {:>13}\n", lengths.unit(), "absolute",
                      "repeatable", lengths.unit());
  for (const NamedEstimate& centre : axis.centre) {
    const Estimate& e = centre.estimate;
    const double nominal_mm = axis.nominal.point_mm[component(centre.name)];
    text += fmt::format("    {} {:>14}  {:>11}  {:>11}  {:>13}  {}\n", direction_text(centre.name),
                        lengths.coordinate(e.value), lengths.coordinate(e.U95_absolute),
                        lengths.coordinate(e.U95), lengths.change(e.value - nominal_mm),
                        iso_symbol(centre.name));
  }
  return text;
}

std::string orientation_table(const AxisResult& axis, const Lengths& lengths) {
  std::string text =
      fmt::format("  lean from the nominal direction\n      {:>14}  {:>11}  {:>11}  {:>13}\n",
                  lengths.slope_unit(), "U95", "deg", "arcsec");
  for (const NamedEstimate& orientation : axis.orientation) {
    const Estimate& e = orientation.estimate;
    text += fmt::format(
        "    {} {:>14}  {:>11}  {:>11}  {:>13}  {}\n", direction_text(orientation.name),
        fmt::format("{:+.4f}", lengths.slope(e.value)),
        fmt::format("{:.4f}", lengths.slope(e.U95_absolute)),
        fmt::format("{:+.5f}", deg_from_rad(e.value)),
        fmt::format("{:+.1f} +-{:.1f}", arcsec_from_rad(e.value), arcsec_from_rad(e.U95_absolute)),
        iso_symbol(orientation.name));
  }
  return text;
}

std::string ranges_line(const AxisResult& axis, const Lengths& lengths) {
  if (std::isnan(axis.ranges.F_R)) return "";
  return fmt::format(
      "  deviations of the stations, largest minus smallest: radial F_R {}, tangential "
      "F_T {}, axial F_A {} {}\n",
      lengths.small_plain(axis.ranges.F_R), lengths.small_plain(axis.ranges.F_T),
      lengths.small_plain(axis.ranges.F_A), lengths.small_unit());
}

/// Where the axis reads 0 moves no line: what these touches leave open, and what would tell.
std::string zero_line(const AxisResult& axis) {
  if (axis.zero) {
    const Estimate& zero = *axis.zero;
    return fmt::format(
        "  zero of {} (E_{}0{}): at 0 it really stands at {:+.5f} deg, U95 {:.5f} deg "
        "({:+.1f} +-{:.1f} arcsec), told by {}\n",
        axis.letter, axis.letter, axis.letter, deg_from_rad(zero.value),
        deg_from_rad(zero.U95_absolute), arcsec_from_rad(zero.value),
        arcsec_from_rad(zero.U95_absolute), axis.zero_by);
  }
  const char* open =
      axis.side == AxisSide::work
          ? "touch a reference face and state its direction_u_arcsec (or at_u of a ball or dowel)"
          : "two stylus lengths, each at spindle 0 and 180 deg, would tell";
  return fmt::format("  zero of {} (E_{}0{}): not determined by these touches; {}\n", axis.letter,
                     axis.letter, axis.letter, open);
}

std::string axis_section(const AxisResult& axis, const Lengths& lengths) {
  std::string text = heading(fmt::format("AXIS {}", axis.letter));
  text += fmt::format("  carries the {}; a positive command turns it {} about +{} ({})\n",
                      axis.side == AxisSide::work ? "work" : "tool", turn_word(axis.turn),
                      along_word(axis),
                      axis.turn_confirmed ? "the touches confirm it" : "not proven by the touches");
  if (!axis.estimated) {
    return text + "  was not turned in this survey: nothing is stated about it\n";
  }
  text += centre_table(axis, lengths);
  text += orientation_table(axis, lengths);
  if (axis.pivot_to_stylus) {
    text += fmt::format("  pivot to stylus centre {} {}, U95 {}\n",
                        lengths.coordinate(axis.pivot_to_stylus->value), lengths.unit(),
                        lengths.coordinate(axis.pivot_to_stylus->U95_absolute));
  }
  if (axis.pivot_to_gauge) {
    text += fmt::format("  pivot to gauge line    {} {}, U95 {}\n",
                        lengths.coordinate(axis.pivot_to_gauge->value), lengths.unit(),
                        lengths.coordinate(axis.pivot_to_gauge->U95_absolute));
  }
  text += zero_line(axis);
  return text + ranges_line(axis, lengths);
}

std::string pair_section(const AxisPairResult& pair, const Lengths& lengths) {
  std::string text = heading(fmt::format("AXES {} AND {}", pair.first, pair.second));
  text += fmt::format("  distance of the lines (common normal) {} {}, U95 {}\n",
                      lengths.change(pair.distance.value), lengths.unit(),
                      lengths.coordinate(pair.distance.U95_absolute));
  text += fmt::format("  crossing angle {:.5f} deg, U95 {:.5f} deg ({:.1f} arcsec)\n",
                      deg_from_rad(pair.crossing.value), deg_from_rad(pair.crossing.U95_absolute),
                      arcsec_from_rad(pair.crossing.U95_absolute));
  text += fmt::format("  way from {} to {}, all axes at 0:", pair.first, pair.second);
  for (std::size_t k = 0; k < 3; ++k) {
    if (std::isnan(pair.offset[k].value)) continue;
    text += fmt::format(" {} {}", "XYZ"[k], lengths.change(pair.offset[k].value));
  }
  text += fmt::format(" {}\n", lengths.unit());
  if (pair.parallel)
    return text + "  the lines are parallel: feet of the common normal are not defined\n";
  const auto foot = [&](char letter, const std::array<Estimate, 3>& at) {
    text += fmt::format("  foot on {}: X {} Y {} Z {} {}\n", letter,
                        lengths.coordinate(at[0].value), lengths.coordinate(at[1].value),
                        lengths.coordinate(at[2].value), lengths.unit());
  };
  foot(pair.first, pair.foot_on_first);
  foot(pair.second, pair.foot_on_second);
  return text;
}

std::string artefact_section(const FitResult& result, const Lengths& lengths) {
  std::string text = heading("ARTEFACTS (where they sit with all rotary axes at 0)");
  for (const ArtefactResult& artefact : result.artefacts) {
    text += fmt::format("  {:<12} X {} Y {} Z {} {}", artefact.name,
                        lengths.coordinate(artefact.position[0].value),
                        lengths.coordinate(artefact.position[1].value),
                        lengths.coordinate(artefact.position[2].value), lengths.unit());
    if (artefact.diameter) {
      text += fmt::format("; diameter {}, U95 {}", lengths.coordinate(artefact.diameter->value),
                          lengths.coordinate(artefact.diameter->U95_absolute));
    } else if (artefact.effective_diameter) {
      text += fmt::format("; diameter with the stylus {}, U95 {}",
                          lengths.coordinate(artefact.effective_diameter->value),
                          lengths.coordinate(artefact.effective_diameter->U95));
    }
    text += "\n";
    for (const NamedEstimate& height : artefact.heights) {
      text += fmt::format("  {:<12} stands {} {} over the {} axis line, U95 {}\n", "",
                          lengths.change(height.estimate.value), lengths.unit(), height.name.axis,
                          lengths.coordinate(height.estimate.U95_absolute));
    }
  }
  return text;
}

struct ShownUnit {
  const char* word;
  double per_internal;
};

ShownUnit shown_unit(EffectUnit unit) {
  switch (unit) {
    case EffectUnit::mm: return {"mm", 1.0};
    case EffectUnit::mm_per_hour: return {"mm/h", 1.0};
    case EffectUnit::rad: return {"arcsec", arcsec_from_rad(1.0)};
    case EffectUnit::mm_per_mm: return {"um/m", 1e6};
  }
  return {"", 1.0};
}

std::string effects_section(const FitResult& result) {
  if (result.effects.empty()) return "";
  std::string text = heading("SOLVED FOR AS WELL");
  for (const EffectResult& effect : result.effects) {
    const ShownUnit unit = shown_unit(effect_unit(effect.name.kind));
    text += fmt::format("  {:<20} {:>+10.4f} {}, U95 {:.4f}\n", text_of(effect.name),
                        unit.per_internal * effect.estimate.value, unit.word,
                        unit.per_internal * effect.estimate.U95);
  }
  const bool drifts =
      std::any_of(result.effects.begin(), result.effects.end(),
                  [](const EffectResult& effect) { return effect.name.kind == EffectKind::drift; });
  if (drifts) text += "  every value above holds for the middle of the survey\n";
  return text + "\n";
}

std::string station_section(const FitResult& result, const Lengths& lengths) {
  std::string text = heading(
      fmt::format("DEVIATIONS BY STATION ({}, from the fitted axis line)", lengths.small_unit()));
  text += "  station    ";
  for (const AxisResult& axis : result.axes)
    text += fmt::format("{:>10}", fmt::format("{} deg", axis.letter));
  text += fmt::format("  {:<12}{:>9}{:>12}{:>9}\n", "artefact", "radial", "tangential", "axial");
  for (const StationResult& station : result.stations) {
    text += fmt::format("  {:<11}", station.label);
    for (std::size_t axis = 0; axis < result.axes.size(); ++axis) {
      text += fmt::format("{:>10.4f}", deg_from_rad(station.angles_rad[axis]) + 0.0);
    }
    text += fmt::format("  {:<12}", station.artefact);
    if (station.resolved) {
      text += fmt::format("{:>9}{:>12}{:>9}", lengths.small(station.radial_mm),
                          lengths.small(station.tangential_mm), lengths.small(station.axial_mm));
    } else {
      text += "  too few touches here to tell";
    }
    text += station.excluded ? "  LEFT OUT\n" : "\n";
  }
  return text;
}

std::string touch_section(const FitResult& result, const Lengths& lengths) {
  std::string text = heading(fmt::format(
      "TOUCHES ({} left over after the fit; |w| above 3.3 is suspect)", lengths.small_unit()));
  text += fmt::format("  {:<8}{:<10}{:<12}{:>10}{:>10}{:>10}{:>14}\n", "touch", "station",
                      "artefact", "residual", "w", "checked", "would show");
  for (const TouchResult& touch : result.touches) {
    text += fmt::format("  {:<8}{:<10}{:<12}{:>10}{:>10}{:>9.0f}%{:>14}{}\n", touch.label,
                        touch.station, touch.artefact, lengths.small(touch.residual_mm),
                        touch.w ? fmt::format("{:+.2f}", *touch.w) : "-", 100.0 * touch.redundancy,
                        touch.detectable_mm ? lengths.small_plain(*touch.detectable_mm) : "nothing",
                        touch.excluded ? "  LEFT OUT" : "");
  }
  return text;
}

std::string budget_section(const FitResult& result) {
  std::string text = heading("WHERE THE UNCERTAINTY COMES FROM (share of the variance)");
  std::optional<ValueName> output;
  for (const BudgetLine& line : result.budget) {
    if (line.output != output) {
      if (output) text += "\n";
      output = line.output;
      text += fmt::format("  {:<18}", text_of(line.output));
    }
    if (line.share < 0.005) continue;
    text += fmt::format("  {} {:.0f} %", text_of(line.source), 100.0 * line.share);
  }
  return text + "\n";
}

/// The half-width in the words of the machine file.
std::string bound_amount(const BoundResult& bound, const Lengths& lengths) {
  switch (bound.kind) {
    case BoundKind::squareness:
    case BoundKind::scale: return fmt::format("{:.1f} um/m", 1e6 * bound.half_width);
    case BoundKind::index_wave:
      return fmt::format("{:.1f} arcsec", arcsec_from_rad(bound.half_width));
    default:
      return fmt::format("{} {}", lengths.small_plain(bound.half_width), lengths.small_unit());
  }
}

std::string bound_name(const BoundResult& bound) {
  const std::string name = text_of(bound.kind);
  return bound.kind == BoundKind::index_wave ? name + " " + bound.axis : name;
}

/// What shrinks an effect most: one thing a shop can do.
const char* remedy_for(BoundKind kind) {
  switch (kind) {
    case BoundKind::lobing:
      return "five or more bearings, or a second pass with the spindle turned 180";
    case BoundKind::drift: return "touch there and back, warm up, repeat the first station";
    case BoundKind::squareness: return "a second height along the axis, angles over most of a turn";
    case BoundKind::scale: return "angles over most of a turn, or state `scale_u_um_per_m`";
    case BoundKind::place: return "an artefact nearer to the axis: shorter ways of the slides";
    case BoundKind::index_wave: return "more angles, spread evenly over the turn";
    case BoundKind::between_surveys: return "compare surveys made without clamping anew";
  }
  return "";
}

const Estimate* stated(const FitResult& result, const ValueName& name);

/// The bound that can shift output k most; nothing where none can.
const BoundResult* largest_bound(const FitResult& result, std::size_t k) {
  const BoundResult* most = nullptr;
  for (const BoundResult& bound : result.bounds) {
    if (bound.kind == BoundKind::between_surveys || !(bound.shifts[k].second > 0.0)) continue;
    if (most == nullptr || bound.shifts[k].second > most->shifts[k].second) most = &bound;
  }
  return most;
}

/// u, B and U95 side by side, the largest part of B, and what would shrink it.
std::string bounds_section(const FitResult& result, const Lengths& lengths) {
  if (result.bounds.empty()) return "";
  std::string text =
      heading("WHAT NO SCATTER SHOWS (B: largest shift while every effect keeps its bound)");
  constexpr const char* sources[] = {"stated", "assumed", "found"};
  for (const BoundResult& bound : result.bounds) {
    text += fmt::format("  {:<16}{:>14}  [{}]\n", bound_name(bound), bound_amount(bound, lengths),
                        sources[static_cast<int>(bound.source)]);
  }
  text += fmt::format("  {:<18}{:>11}{:>11}{:>11}  {}\n", "", "u", "B", "U95", "most of B from");
  for (std::size_t k = 0; k < result.bounds.front().shifts.size(); ++k) {
    const ValueName& output = result.bounds.front().shifts[k].first;
    const Estimate* estimate = stated(result, output);
    if (estimate == nullptr) continue;
    const auto amount = [&](double value) {
      return is_angle(output) ? fmt::format("{:.1f} arcsec", arcsec_from_rad(value))
                              : lengths.small_plain(value) + " " + lengths.small_unit();
    };
    const BoundResult* most = largest_bound(result, k);
    text +=
        fmt::format("  {:<18}{:>12}{:>12}{:>12}  ", text_of(output), amount(estimate->u_absolute),
                    amount(estimate->B_absolute), amount(estimate->U95_absolute));
    text += most == nullptr ? "-\n"
                            : fmt::format("{} ({}): {}\n", bound_name(*most),
                                          amount(most->shifts[k].second), remedy_for(most->kind));
  }
  return text + "\n";
}

std::string findings_section(const FitResult& result) {
  if (result.findings.empty()) return heading("FINDINGS") + "  none\n";
  constexpr const char* words[3] = {"note", "WARNING", "ERROR"};
  std::string text = heading("FINDINGS");
  for (const Finding& finding : result.findings) {
    text += fmt::format("  {} [{}] {}\n", words[static_cast<int>(finding.severity)],
                        text_of(finding.code), what_of(finding));
    const std::string advice = advice_of(finding);
    if (!advice.empty()) text += fmt::format("      do: {}\n", advice);
  }
  return text;
}

std::string verdict(const FitResult& result) {
  if (result.usable) {
    return heading("USABLE: yes") +
           "  Before a pivot value goes into a control: check the signs and the quoted plane, try "
           "it at a\n"
           "  safe height in single block with reduced rapid, and follow the machine's manual, the "
           "local\n"
           "  safety rules and people qualified on this machine.\n";
  }
  return heading("USABLE: NO") +
         "  Nothing may be written from this result; see the errors above.\n";
}

/// What stands between this survey and a result: the error that matters most first. Figures nobody may
/// use are left to who looks for the cause.
std::string unusable_sheet(const FitResult& result) {
  const auto error =
      std::find_if(result.findings.begin(), result.findings.end(),
                   [](const Finding& finding) { return finding.severity == Severity::error; });
  std::string text = heading("USABLE: NO, nothing may be written from this result");
  if (error != result.findings.end()) {
    text += fmt::format("  {}\n  do: {}\n\n", what_of(*error), advice_of(*error));
  }
  return text + findings_section(result) +
         "\n  No values are shown. To look for the cause, --touches shows every figure.\n";
}

}  // namespace

std::string fit_sheet(const FitResult& result, const FitSheetOptions& options) {
  const Lengths lengths(options.inch);
  std::string text = heading(fmt::format("pivotrace fit: {}", result.machine_name)) + "\n";
  if (result.simulated) text += fmt::format("  {}\n", simulated_notice);
  text += measured(result) + "\n";
  if (!result.usable && !options.every_touch) return text + unusable_sheet(result);
  if (options.inch) text += "  tenths = ten-thousandths of an inch (0.0001 in)\n\n";
  for (const AxisResult& axis : result.axes) text += axis_section(axis, lengths) + "\n";
  for (const AxisPairResult& pair : result.axis_pairs) text += pair_section(pair, lengths) + "\n";
  text += artefact_section(result, lengths) + "\n";
  text += effects_section(result);
  text += station_section(result, lengths) + "\n";
  if (options.every_touch) text += touch_section(result, lengths) + "\n";
  text += scatter(result, lengths) + "\n";
  text += budget_section(result) + "\n";
  text += bounds_section(result, lengths);
  text += findings_section(result) + "\n";
  text += verdict(result);
  return text;
}

namespace {

const Estimate* stated(const FitResult& result, const ValueName& name) {
  for (const AxisResult& axis : result.axes) {
    for (const std::vector<NamedEstimate>* estimates : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *estimates) {
        if (named.name == name) return &named.estimate;
      }
    }
  }
  return nullptr;
}

}  // namespace

std::string trials_sheet(const TrialsResult& trials, const FitResult& result, bool inch) {
  const Lengths lengths(inch);
  std::string text =
      heading(fmt::format("THE SURVEY REPEATED ON PAPER ({} trials, seed {}, {:.1f} s)",
                          trials.trials, trials.seed, trials.seconds));
  text += fmt::format("  {:<18}{:>12}{:>16}{:>18}\n", "output", "shift", "half 95 % width",
                      "stated U95");
  for (const TrialOutput& output : trials.outputs) {
    const Estimate* estimate = stated(result, output.name);
    if (estimate == nullptr) continue;
    const bool angle = is_angle(output.name);
    const auto show = [&](double value) {
      return angle ? fmt::format("{:.2f} arcsec", arcsec_from_rad(value))
                   : fmt::format("{} {}", lengths.small_plain(value), lengths.small_unit());
    };
    text += fmt::format("  {:<18}{:>12}{:>16}{:>18}\n", text_of(output.name),
                        show(output.mean - output.value), show(0.5 * (output.high - output.low)),
                        show(estimate->U95_absolute));
  }
  return text +
         "  The stated U95 is wider by Student's t where the survey itself had to find its "
         "sigmas.\n";
}

}  // namespace pivotrace

#include "pivotrace/report/plan_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/cautions.h"
#include "base/wrapped_text.h"
#include "formats/json_writer.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

/// Lengths in um, on a machine in inches in tenths (0.0001 inch).
std::string u95_text(const PredictedOutput& output, double value, bool inch) {
  if (is_angle(output.name)) return fmt::format("{:.1f} arcsec", arcsec_from_rad(value));
  return inch ? fmt::format("{:.2f} tenths", 1e4 * value / mm_per_inch)
              : fmt::format("{:.1f} um", 1000.0 * value);
}

std::string angles_text(const Machine& machine, const PlannedStation& station) {
  std::string text;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format("{}{} {:>7.1f}", i == 0 ? "" : "  ", machine.rotary[i].letter,
                        deg_from_rad(station.angles_rad[i]));
  }
  return text;
}

std::string touches_text(const Machine& machine, const PlannedStation& station) {
  std::string text;
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    const auto count = std::count_if(
        station.touches.begin(), station.touches.end(),
        [&](const PlannedTouch& touch) { return touch.artefact == static_cast<int>(a); });
    if (count == 0) continue;
    text += fmt::format("{}{} on {}", text.empty() ? "" : ", ", count, machine.artefacts[a].name);
  }
  return text;
}

std::string stations_text(const Machine& machine, const Plan& plan) {
  std::string text =
      "Station  angles (deg)" + std::string(12 * machine.rotary.size() - 12, ' ') + "  touches\n";
  for (const PlannedStation& station : plan.stations) {
    text += fmt::format("{:>7}  {}  {}{}\n", station.label, angles_text(machine, station),
                        touches_text(machine, station), station.flip ? ", spindle at 180 deg" : "");
  }
  return text;
}

std::string predictions_text(const std::vector<PredictedOutput>& outputs, bool inch) {
  std::string text =
      "Predicted U95 (95 %)            to compare        to write\n"
      "                               two surveys      the value\n";
  for (const PredictedOutput& output : outputs) {
    text += fmt::format("  {:<20} {:<7} {:>12}   {:>12}\n", text_of(output.name),
                        iso_symbol(output.name), u95_text(output, output.U95, inch),
                        u95_text(output, output.U95_absolute, inch));
  }
  return text;
}

/// Gains that differ by less are the same on every computer: the first one is named.
constexpr double equal_gains = 1e-9;

/// The output an addition helps most, of one kind, as "C.centre.Y 2.0 -> 1.6 um".
std::string best_change(const std::vector<PredictedOutput>& now,
                        const std::vector<PredictedOutput>& then, bool angles, bool inch) {
  double best = 1.0;
  std::string text;
  for (const PredictedOutput& before : now) {
    if (is_angle(before.name) != angles) continue;
    const auto after = std::find_if(then.begin(), then.end(), [&](const PredictedOutput& output) {
      return output.name == before.name;
    });
    if (after == then.end() || !(after->U95 < (best - equal_gains) * before.U95)) continue;
    best = after->U95 / before.U95;
    text = fmt::format("{} {} -> {}", text_of(before.name), u95_text(before, before.U95, inch),
                       u95_text(before, after->U95, inch));
  }
  return text;
}

std::string gains_text(const PlanOutcome& outcome, bool inch) {
  std::string text;
  for (const Gain& gain : outcome.gains) {
    std::string changes = best_change(outcome.plan.predicted, gain.predicted, false, inch);
    const std::string lean = best_change(outcome.plan.predicted, gain.predicted, true, inch);
    if (!lean.empty()) changes += (changes.empty() ? "" : ", ") + lean;
    text += fmt::format("  {}, {:+.1f} minutes: {}\n", gain.addition, gain.minutes,
                        changes.empty() ? "no gain" : "at best " + changes);
  }
  return text;
}

/// "A.centre.Y (E_Y0A): 61 % of its variance from station (linear axes)".
std::string limit_text(const BudgetLine& limit) {
  const std::string symbol = iso_symbol(limit.output);
  return fmt::format("{}{}: {:.0f} % of its variance from {}", text_of(limit.output),
                     symbol.empty() ? "" : " (" + symbol + ")", 100.0 * limit.share,
                     text_of(limit.source));
}

void add_outputs(JsonWriter& json, const std::vector<PredictedOutput>& outputs) {
  json.begin_array("predicted");
  for (const PredictedOutput& output : outputs) {
    const bool angle = is_angle(output.name);
    const double scale = angle ? deg_from_rad(1.0) : 1.0;
    json.begin_object({}, JsonLayout::one_line);
    json.add("name", text_of(output.name));
    json.add("symbol", iso_symbol(output.name));
    json.add("unit", angle ? "deg" : "mm");
    json.add("U95", output.U95 * scale);
    json.add("U95_absolute", output.U95_absolute * scale);
    json.end();
  }
  json.end();
}

void add_station(JsonWriter& json, const Machine& machine, const PlannedStation& station) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("label", station.label);
  json.begin_object("angles");
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    json.add(std::string(1, machine.rotary[i].letter), deg_from_rad(station.angles_rad[i]));
  }
  json.end();
  json.add("flip", station.flip);
  json.add("touches", static_cast<int>(station.touches.size()));
  json.end();
}

void add_left_out(JsonWriter& json, const LeftOut& left) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("station", left.station);
  json.add("reason", left.reason);
  json.end();
}

void add_gain(JsonWriter& json, const Gain& gain) {
  json.begin_object();
  json.add("addition", gain.addition);
  json.add("minutes", gain.minutes);
  add_outputs(json, gain.predicted);
  json.end();
}

}  // namespace

std::string plan_text(const Machine& machine, const PlanOutcome& outcome) {
  const Plan& plan = outcome.plan;
  std::string text =
      fmt::format("Plan {} for {}: {}\n", identity_of(plan), machine.name, word_of(plan.purpose));
  text += fmt::format("{} stations, {} touches, about {:.1f} minutes\n\n", plan.stations.size(),
                      plan.touch_count(), plan.minutes);
  text += stations_text(machine, plan) + "\n" + predictions_text(plan.predicted, machine.inch);
  if (machine.inch) text += "  tenths = ten-thousandths of an inch (0.0001 inch)\n";
  if (!outcome.limited_by.empty()) text += "\nWhat limits it\n";
  for (const BudgetLine& limit : outcome.limited_by) text += "  " + limit_text(limit) + "\n";
  if (!outcome.gains.empty()) text += "\nWhat more would buy\n" + gains_text(outcome, machine.inch);
  if (!outcome.left_out.empty()) text += "\nLeft out\n";
  for (const LeftOut& left : outcome.left_out) {
    text += fmt::format("  {} deg: {}\n", left.station, left.reason);
  }
  text += fmt::format(
      "\nThe program {}.\n",
      plan.self_find
          ? fmt::format(
                "finds the first artefact itself from a jogged position, up to {:.3g} {} off",
                plan.distances.rough / (machine.inch ? mm_per_inch : 1.0),
                machine.inch ? "inch" : "mm")
          : "starts from the positions of the machine file");
  return text + wrapped(caution(moving_machine_caution), "", 0);
}

std::string plan_json(const Machine& machine, const PlanOutcome& outcome) {
  const Plan& plan = outcome.plan;
  JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-plan-1");
  json.add("identity", identity_of(plan));
  json.add("machine", machine.name);
  json.add("caution", moving_machine_caution);
  json.add("purpose", word_of(plan.purpose));
  json.add("minutes", plan.minutes);
  json.add("touches", plan.touch_count());
  json.begin_array("stations");
  for (const PlannedStation& station : plan.stations) add_station(json, machine, station);
  json.end();
  add_outputs(json, plan.predicted);
  std::vector<std::string> limits;
  for (const BudgetLine& limit : outcome.limited_by) limits.push_back(limit_text(limit));
  json.add("limited_by", limits);
  json.begin_array("left_out");
  for (const LeftOut& left : outcome.left_out) add_left_out(json, left);
  json.end();
  json.begin_array("gains");
  for (const Gain& gain : outcome.gains) add_gain(json, gain);
  json.end();
  json.end();
  return json.take();
}

}  // namespace pivotrace

#include "pivotrace/report/plan_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

std::string u95_text(const PredictedOutput& output, double value) {
  return output.is_angle ? fmt::format("{:.1f} arcsec", arcsec_from_rad(value))
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

std::string predictions_text(const std::vector<PredictedOutput>& outputs) {
  std::string text =
      "Predicted U95 (95 %)            to compare        to write\n"
      "                               two surveys      the value\n";
  for (const PredictedOutput& output : outputs) {
    text += fmt::format("  {:<20} {:<7} {:>12}   {:>12}\n", output.name, output.symbol,
                        u95_text(output, output.U95), u95_text(output, output.U95_absolute));
  }
  return text;
}

/// The output an addition helps most, of one kind, as "C.location.Y 2.0 -> 1.6 um".
std::string best_change(const std::vector<PredictedOutput>& now,
                        const std::vector<PredictedOutput>& then, bool angles) {
  double best = 1.0;
  std::string text;
  for (const PredictedOutput& before : now) {
    if (before.is_angle != angles) continue;
    const auto after = std::find_if(then.begin(), then.end(), [&](const PredictedOutput& output) {
      return output.name == before.name;
    });
    if (after == then.end() || !(after->U95 < best * before.U95)) continue;
    best = after->U95 / before.U95;
    text = fmt::format("{} {} -> {}", before.name, u95_text(before, before.U95),
                       u95_text(before, after->U95));
  }
  return text;
}

std::string gains_text(const PlanOutcome& outcome) {
  std::string text;
  for (const Gain& gain : outcome.gains) {
    std::string changes = best_change(outcome.plan.predicted, gain.predicted, false);
    const std::string lean = best_change(outcome.plan.predicted, gain.predicted, true);
    if (!lean.empty()) changes += (changes.empty() ? "" : ", ") + lean;
    text += fmt::format("  {}, {:+.1f} minutes: {}\n", gain.addition, gain.minutes,
                        changes.empty() ? "no gain" : "at best " + changes);
  }
  return text;
}

std::string json_text(const std::string& text) {
  std::string result = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') result += '\\';
    result += c;
  }
  return result + "\"";
}

std::string json_outputs(const std::vector<PredictedOutput>& outputs) {
  std::string text;
  for (const PredictedOutput& o : outputs) {
    const char* unit = o.is_angle ? "deg" : "mm";
    const double scale = o.is_angle ? deg_from_rad(1.0) : 1.0;
    text += fmt::format(
        "{}{{\"name\": {}, \"symbol\": {}, \"unit\": \"{}\", \"U95\": {}, \"U95_absolute\": {}}}",
        text.empty() ? "" : ", ", json_text(o.name), json_text(o.symbol), unit, o.U95 * scale,
        o.U95_absolute * scale);
  }
  return "[" + text + "]";
}

}  // namespace

std::string plan_text(const Machine& machine, const PlanOutcome& outcome) {
  const Plan& plan = outcome.plan;
  std::string text =
      fmt::format("Plan {} for {}: {}\n", identity_of(plan), machine.name, word_of(plan.purpose));
  text += fmt::format("{} stations, {} touches, about {:.1f} minutes\n\n", plan.stations.size(),
                      plan.touch_count(), plan.minutes);
  text += stations_text(machine, plan) + "\n" + predictions_text(plan.predicted);
  if (!outcome.limited_by.empty()) text += "\nWhat limits it\n";
  for (const std::string& limit : outcome.limited_by) text += "  " + limit + "\n";
  if (!outcome.gains.empty()) text += "\nWhat more would buy\n" + gains_text(outcome);
  if (!outcome.left_out.empty()) text += "\nLeft out\n";
  for (const LeftOut& left : outcome.left_out) {
    text += fmt::format("  {} deg: {}\n", left.station, left.reason);
  }
  text += fmt::format(
      "\nThe program {}.\n",
      plan.self_find
          ? fmt::format("finds the first artefact itself from a jogged position, up to {:g} mm off",
                        plan.distances.rough)
          : "starts from the positions of the machine file");
  return text;
}

std::string plan_json(const Machine& machine, const PlanOutcome& outcome) {
  const Plan& plan = outcome.plan;
  std::string stations, left, limits, gains;
  for (const PlannedStation& station : plan.stations) {
    std::string angles;
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
      angles += fmt::format("{}\"{}\": {}", i == 0 ? "" : ", ", machine.rotary[i].letter,
                            deg_from_rad(station.angles_rad[i]));
    }
    stations +=
        fmt::format("{}\n    {{\"label\": {}, \"angles\": {{{}}}, \"flip\": {}, \"touches\": {}}}",
                    stations.empty() ? "" : ",", json_text(station.label), angles, station.flip,
                    station.touches.size());
  }
  for (const LeftOut& l : outcome.left_out) {
    left += fmt::format("{}{{\"station\": {}, \"reason\": {}}}", left.empty() ? "" : ", ",
                        json_text(l.station), json_text(l.reason));
  }
  for (const std::string& limit : outcome.limited_by) {
    limits += (limits.empty() ? "" : ", ") + json_text(limit);
  }
  for (const Gain& gain : outcome.gains) {
    gains += fmt::format("{}\n    {{\"addition\": {}, \"minutes\": {:.3f}, \"predicted\": {}}}",
                         gains.empty() ? "" : ",", json_text(gain.addition), gain.minutes,
                         json_outputs(gain.predicted));
  }
  return fmt::format(
      "{{\n  \"format\": \"pivotrace-plan-1\",\n  \"identity\": \"{}\",\n  \"machine\": {},\n"
      "  \"purpose\": \"{}\",\n  \"minutes\": {:.3f},\n  \"touches\": {},\n  \"stations\": [{}],\n"
      "  \"predicted\": {},\n  \"limited_by\": [{}],\n  \"left_out\": [{}],\n  \"gains\": "
      "[{}]\n}}\n",
      identity_of(plan), json_text(machine.name), word_of(plan.purpose), plan.minutes,
      plan.touch_count(), stations, json_outputs(plan.predicted), limits, left, gains);
}

}  // namespace pivotrace

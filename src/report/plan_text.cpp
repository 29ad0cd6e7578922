#include "pivotrace/report/plan_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/cautions.h"
#include "base/wrapped_text.h"
#include "formats/json_writer.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "report/plan_json.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

/// Lengths in um, on a machine in inches in tenths (0.0001 inch).
std::string size_text(const ValueName& name, double value, bool inch) {
  if (is_angle(name)) return fmt::format("{:.1f} arcsec", arcsec_from_rad(value));
  return inch ? fmt::format("{:.2f} tenths", 1e4 * value / mm_per_inch)
              : fmt::format("{:.1f} um", 1000.0 * value);
}

std::string u95_text(const PredictedOutput& output, double value, bool inch) {
  return size_text(output.name, value, inch);
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

/// "2.0 um and 5.0 arcsec, A.centre.Z 1.0 um": what most values share first.
std::string wanted_text(const std::vector<WantedValue>& wanted, bool inch) {
  std::vector<std::pair<std::string, int>> sizes;
  for (const WantedValue& value : wanted) {
    const std::string size = size_text(value.name, value.wanted, inch);
    const auto known = std::ranges::find(sizes, size, &std::pair<std::string, int>::first);
    if (known == sizes.end()) {
      sizes.emplace_back(size, 1);
    } else {
      ++known->second;
    }
  }
  if (sizes.size() <= 2) {
    std::string text;
    for (const auto& [size, count] : sizes) text += (text.empty() ? "" : " and ") + size;
    return text + " (U95) on every value";
  }
  std::string text;
  for (const WantedValue& value : wanted) {
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", text_of(value.name),
                        size_text(value.name, value.wanted, inch));
  }
  return text + " (U95)";
}

/// Values that no survey brings to what is wanted.
std::string out_of_reach_text(const std::vector<WantedValue>& wanted, bool inch) {
  std::string text;
  for (const WantedValue& value : wanted) {
    if (value.least < value.wanted) continue;
    text += fmt::format(
        "{} stays at {} or more however it is touched: that much comes from what the machine file "
        "says of "
        "stylus offset, scales or squareness. ",
        text_of(value.name), size_text(value.name, value.least, inch));
  }
  return text;
}

std::string proof_text(const Certificate& proof) {
  return fmt::format(
      "Proof: no survey of {:.1f} minutes on this machine, made of {} to {} touches a station on a "
      "{:g} degree grid, gets every value below {:.2f} of what is wanted; this plan gets {:.2f}. "
      "It "
      "reaches {:.2f} of what is possible.",
      proof.minutes, proof.least_touches, proof.most_touches, proof.step_deg, proof.bound,
      proof.reached, proof.efficiency());
}

int different_angles(const Plan& plan, std::size_t axis) {
  std::vector<double> angles;
  for (const PlannedStation& station : plan.stations) {
    const double angle = station.angles_rad[axis];
    const auto same = [&](double other) { return std::abs(other - angle) < 1e-6; };
    if (std::ranges::none_of(angles, same)) angles.push_back(angle);
  }
  return static_cast<int>(angles.size());
}

/// Why these stations, in three sentences.
std::string why_text(const Machine& machine, const PlanOutcome& outcome) {
  std::string angles;
  std::size_t turning = 0;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const int count = different_angles(outcome.plan, i);
    if (count < 2) continue;
    ++turning;
    angles += fmt::format("{}{} different angles of {}", angles.empty() ? "" : " and ", count,
                          machine.rotary[i].letter);
  }
  std::string text = fmt::format(
      "Why these stations: they stand at {}, because the error of an index position repeats and "
      "only "
      "another angle averages it. ",
      angles);
  text +=
      turning > 1
          ? "All axes turn in every part of the run, because the turn of one moves the artefact "
            "along what the circle of the other cannot show. "
          : "They reach over as much of the circle as travel and stem allow, because a short arc "
            "does not tell the centre from the radius. ";
  return text + fmt::format(
                    "{:.1f} touches a station on average: more of them would only make the touches "
                    "better known, not where the slides and the axis came to rest.",
                    static_cast<double>(outcome.plan.touch_count()) /
                        static_cast<double>(outcome.plan.stations.size()));
}

/// What shift of every value a later comparison would find.
std::string seen_text(const std::vector<SeenShift>& seen, bool inch) {
  std::string found, missed;
  for (const SeenShift& shift : seen) {
    const std::string text = text_of(shift.name) + " " + size_text(shift.name, shift.seen, inch);
    std::string& list = shift.seen <= shift.asked ? found : missed;
    list += (list.empty() ? "" : ", ") + text;
  }
  std::string text;
  if (!found.empty()) {
    text = wrapped(
        "Found in 8 of 10 cases at 1 % false alarms, by the test that compares results: " + found +
            ".",
        "", 0);
  }
  if (missed.empty()) return text;
  text +=
      wrapped("Not as small as asked, however long this search went on: " + missed + ".", "", 0);
  return text + wrapped(
                    "What temperature and clamping anew do between two surveys is no matter of "
                    "touches: state between_surveys under [bounds] where it is known to be less.",
                    "", 0);
}

/// What a search was asked, what it proves and why the plan looks as it does.
std::string search_text(const Machine& machine, const PlanOutcome& outcome) {
  if (!outcome.seen.empty()) return seen_text(outcome.seen, machine.inch);
  if (!outcome.certificate) return {};
  std::string text = wrapped("Wanted: " + wanted_text(outcome.wanted, machine.inch) + ".", "", 0);
  const std::string beyond = out_of_reach_text(outcome.wanted, machine.inch);
  if (!beyond.empty()) text += wrapped(beyond, "", 0);
  if (outcome.longer_than_asked) {
    text += wrapped(fmt::format("This is the shortest plan that can be trusted: {:.1f} minutes.",
                                outcome.plan.minutes),
                    "", 0);
  }
  if (outcome.stopped_early) text += "Stopped: this is the best plan found so far.\n";
  text += wrapped(proof_text(*outcome.certificate), "", 0);
  text += wrapped(why_text(machine, outcome), "", 0);
  return text + fmt::format("Every touch is checked by the others: smallest redundancy {:.2f}.\n",
                            outcome.least_redundancy);
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

/// Of one value, with its unit; what mm or rad of it are times in that unit.
double begin_value(JsonWriter& json, const ValueName& name) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("name", text_of(name));
  json.add("unit", is_angle(name) ? "deg" : "mm");
  return is_angle(name) ? deg_from_rad(1.0) : 1.0;
}

void add_wanted(JsonWriter& json, const WantedValue& value) {
  const double scale = begin_value(json, value.name);
  json.add("wanted", value.wanted * scale);
  json.add("least", value.least * scale);
  json.add("reached", value.reached * scale);
  json.end();
}

void add_numbers(JsonWriter& json, std::string_view key, const Eigen::VectorXd& numbers) {
  json.add(key, std::vector<double>(numbers.begin(), numbers.end()));
}

void add_proof_part(JsonWriter& json, const ProofPart& part) {
  json.begin_object();
  json.add("bound", part.bound);
  add_numbers(json, "low", part.low);
  add_numbers(json, "high", part.high);
  add_numbers(json, "of_u", part.of_u);
  add_numbers(json, "of_B", part.of_B);
  add_numbers(json, "weights", part.weights);
  add_numbers(json, "prior_with_visits", part.prior_with_visits);
  json.begin_array("vectors");
  for (const auto& column : part.vectors.colwise()) {
    add_numbers(json, {}, column);
  }
  json.end();
  json.end();
}

/// With vectors and weights, so that anyone can compute the bound again. Inside: mm and radians.
void add_certificate(JsonWriter& json, const Certificate& proof) {
  json.begin_object("certificate");
  json.add("minutes", proof.minutes);
  json.add("grid_step", proof.step_deg);
  json.add("least_touches", proof.least_touches);
  json.add("most_touches", proof.most_touches);
  json.add("candidates", proof.candidates);
  json.add("bound", proof.bound);
  json.add("reached", proof.reached);
  json.add("efficiency", proof.efficiency());
  json.add("counted_minutes", proof.counted_minutes);
  add_numbers(json, "effect_sizes", proof.effect_sizes);
  json.add("bounded_from", proof.bounded_from);
  json.begin_array("parts");
  for (const ProofPart& part : proof.parts) add_proof_part(json, part);
  json.end();
  json.end();
}

void add_seen(JsonWriter& json, const std::vector<SeenShift>& seen) {
  if (seen.empty()) return;
  json.begin_array("seen");
  for (const SeenShift& shift : seen) {
    const double scale = begin_value(json, shift.name);
    json.add("asked", shift.asked * scale);
    json.add("seen", shift.seen * scale);
    json.end();
  }
  json.end();
}

void add_proof(JsonWriter& json, const PlanOutcome& outcome) {
  json.begin_array("wanted");
  for (const WantedValue& value : outcome.wanted) add_wanted(json, value);
  json.end();
  add_seen(json, outcome.seen);
  json.add("least_redundancy", outcome.least_redundancy);
  json.add("stopped_early", outcome.stopped_early);
  if (outcome.certificate) add_certificate(json, *outcome.certificate);
}

void add_visit(JsonWriter& json, const Machine& machine, const CertifiedVisit& visit) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("least_minutes", visit.least_minutes);
  json.begin_object("angles");
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    json.add(std::string(1, machine.rotary[i].letter), deg_from_rad(visit.station.angles_rad[i]));
  }
  json.end();
  json.begin_array("touches");
  for (const PlannedTouch& touch : visit.station.touches) {
    json.begin_object();
    json.add("artefact", machine.artefacts[static_cast<std::size_t>(touch.artefact)].name);
    json.add("around", deg_from_rad(touch.around_rad));
    json.add("up", deg_from_rad(touch.up_rad));
    json.add("along", touch.along_mm);
    json.add("out", touch.out_mm);
    json.end();
  }
  json.end();
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

std::string judged_plan_text(const Machine& machine, const PlanOutcome& outcome) {
  std::string text = fmt::format("Predicted anew: about {:.1f} minutes\n\n", outcome.plan.minutes);
  text += predictions_text(outcome.plan.predicted, machine.inch);
  if (machine.inch) text += "  tenths = ten-thousandths of an inch (0.0001 inch)\n";
  text += "\n" + wrapped("Wanted: " + wanted_text(outcome.wanted, machine.inch) + ".", "", 0);
  if (outcome.certificate) text += wrapped(proof_text(*outcome.certificate), "", 0);
  return text + fmt::format("Every touch is checked by the others: smallest redundancy {:.2f}.\n",
                            outcome.least_redundancy);
}

std::string certificate_json(const Machine& machine, const PlanOutcome& outcome,
                             const std::vector<CertifiedVisit>& visits) {
  JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-certificate-1");
  json.add("machine", machine.name);
  json.add("identity", identity_of(outcome.plan));
  add_proof(json, outcome);
  json.begin_array("visits");
  for (const CertifiedVisit& visit : visits) add_visit(json, machine, visit);
  json.end();
  json.end();
  return json.take();
}

namespace report {

void add_judged_plan(JsonWriter& json, const PlanOutcome& outcome) {
  json.begin_object("plan");
  json.add("identity", identity_of(outcome.plan));
  json.add("minutes", outcome.plan.minutes);
  json.add("touches", outcome.plan.touch_count());
  add_outputs(json, outcome.plan.predicted);
  add_proof(json, outcome);
  json.end();
}

}  // namespace report

std::string plan_text(const Machine& machine, const PlanOutcome& outcome) {
  const Plan& plan = outcome.plan;
  std::string text =
      fmt::format("Plan {} for {}: {}\n", identity_of(plan), machine.name, word_of(plan.purpose));
  text += fmt::format("{} stations, {} touches, about {:.1f} minutes\n\n", plan.stations.size(),
                      plan.touch_count(), plan.minutes);
  text += stations_text(machine, plan) + "\n" + predictions_text(plan.predicted, machine.inch);
  if (machine.inch) text += "  tenths = ten-thousandths of an inch (0.0001 inch)\n";
  const std::string search = search_text(machine, outcome);
  if (!search.empty()) text += "\n" + search;
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
  if (outcome.certificate || !outcome.seen.empty()) add_proof(json, outcome);
  json.end();
  return json.take();
}

}  // namespace pivotrace

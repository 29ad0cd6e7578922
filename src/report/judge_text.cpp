#include "pivotrace/report/judge_text.h"

#include <fmt/format.h>

#include <cmath>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "formats/json_writer.h"
#include "pivotrace/base/length.h"
#include "pivotrace/pivots/index_angles.h"

namespace pivotrace {

namespace {

using formats::JsonWriter;

const char* believed_word(Believed believed) {
  switch (believed) {
    case Believed::machine_file: return "old values: machine file";
    case Believed::previous_result: return "old values: previous result, centres only";
    case Believed::centres: return "new values: centres only";
    case Believed::centres_and_leans: return "new values: centres and leans";
  }
  return "";
}

std::string more_stations_text(const Settling& settling) {
  switch (settling.more_stations) {
    case Settling::MoreStations::not_known: return "";
    case Settling::MoreStations::cannot_do_it:
      return fmt::format(
          "; more stations alone cannot do it: {} percent of the variance is common to all "
          "touches, most of it \"{}\": improve that first (calibrate the probe)",
          static_cast<int>(std::lround(100.0 * settling.common_share)),
          settling.largest_common ? text_of(*settling.largest_common) : "");
    case Settling::MoreStations::too_many:
      return "; that is more stations than sensible: take a better probe or a larger artefact "
             "circle";
    case Settling::MoreStations::would_do:
      return fmt::format("; about {} stations in place of {} would do, or a better probe",
                         settling.stations_wanted, settling.stations);
  }
  return "";
}

/// "-200.1000 to -200.0000", "up to 0.0200" or "from 0.0100".
std::string zone_text(const std::optional<double>& low, const std::optional<double>& high,
                      int decimals) {
  if (low && high) {
    return fmt::format("{} to {}", fixed_text(*low, decimals), fixed_text(*high, decimals));
  }
  if (high) return "up to " + fixed_text(*high, decimals);
  return low ? "from " + fixed_text(*low, decimals) : "none";
}

/// A limit moved inwards by the guard band.
std::optional<double> guarded(const Judgement& j, bool low) {
  const std::optional<double>& limit = low ? j.low : j.high;
  if (!limit) return std::nullopt;
  return low ? *limit + j.guard : *limit - j.guard;
}

/// Notes on the judgement as a whole.
std::vector<std::string> warnings_of(const JudgeReport& report) {
  if (report.guard_factor >= 1.0) return {};
  return {fmt::format("guard factor {}: this is less than ISO 14253-1 asks for",
                      fixed_text(report.guard_factor, 2))};
}

}  // namespace

ShownUnit shown_unit(LimitUnit unit) {
  switch (unit) {
    case LimitUnit::automatic:
    case LimitUnit::mm: return {"mm", 4};
    case LimitUnit::inch: return {"inch", 5};
    case LimitUnit::deg: return {"deg", 5};
    case LimitUnit::arcsec: return {"arcsec", 1};
    case LimitUnit::mm_per_300: return {"mm/300mm", 4};
  }
  return {"", 4};
}

std::string subject_text(const Judgement& j) {
  if (const auto* believed = std::get_if<Believed>(&j.subject)) {
    return std::string("part mismatch, ") + believed_word(*believed);
  }
  const auto& value = std::get<JudgedValue>(j.subject);
  return (value.change ? "change of " : "") + text_of(value.name);
}

const char* verdict_word(Verdict verdict) {
  switch (verdict) {
    case Verdict::conforms: return "conforms";
    case Verdict::not_proven: return "not proven";
    case Verdict::does_not_conform: return "does not conform";
  }
  return "";
}

std::string settling_text(const Judgement& j) {
  const auto [unit, decimals] = shown_unit(j.unit);
  const Settling& settling = j.settling;
  switch (settling.kind) {
    case Settling::Kind::nothing_to_settle: return "";
    case Settling::Kind::correct_it:
      return fmt::format("out by {} {}: align it or correct the value, then measure again",
                         fixed_text(settling.out_by, decimals), unit);
    case Settling::Kind::move_inwards:
      return "it lies on the limit: no measurement settles that, move it inwards";
    case Settling::Kind::align_unit:
      return "a work offset cannot take a lean out: align the unit (`pivotrace shim`), keep parts "
             "near the quoted plane, or measure better";
    case Settling::Kind::measure_better: break;
  }
  std::string text = fmt::format("settled by U95 of {} {} or less (now {})",
                                 fixed_text(settling.U95_needed, decimals), unit,
                                 uncertainty_text(j.U95, decimals));
  text += more_stations_text(settling);
  if (settling.no_acceptance_zone) {
    text += "; as it is, the guard bands leave no acceptance zone at all";
  }
  return text;
}

namespace {

void add_judgement(JsonWriter& json, const Judgement& judgement) {
  json.begin_object();
  json.add("value", subject_text(judgement));
  json.add("unit", shown_unit(judgement.unit).word);
  json.add("measured", judgement.measured);
  json.add("U95", judgement.U95);
  json.add("guard", judgement.guard);
  json.add("low", judgement.low);
  json.add("high", judgement.high);
  json.add("probability", judgement.probability);
  json.add("verdict", verdict_word(judgement.verdict));
  json.add("settles", settling_text(judgement));
  json.end();
}

void add_mismatch(JsonWriter& json, const FitResult& result, const PartMismatch& mismatch) {
  json.begin_object();
  json.add("values", believed_word(mismatch.believed));
  json.add("worst_mm", mismatch.worst_mm);
  json.add("U95_mm", mismatch.U95_mm);
  json.add("step_mm", mismatch.step_mm);
  json.add("corner_mm", mismatch.corner_mm);
  json.begin_array("between", formats::JsonLayout::one_line);
  json.add({}, angles_text(result, mismatch.first_rad));
  json.add({}, angles_text(result, mismatch.second_rad));
  json.end();
  json.end();
}

std::string mismatch_text(const FitResult& result, const PartMismatch& m, bool inch) {
  const auto [unit, decimals] = shown_unit(inch ? LimitUnit::inch : LimitUnit::mm);
  const double mm = inch ? mm_per_inch : 1.0;
  const int coarse = inch ? 2 : 1;
  const auto fine = [&, decimals = decimals](double length_mm) {
    return signed_text(length_mm / mm, decimals);
  };
  const auto place = [&](double length_mm) { return fixed_text(length_mm / mm, coarse); };
  return fmt::format(
      "  {}:\n    {} {} (X {}, Y {}, Z {}), U95 {} {}\n"
      "    between {} and {},\n    at X {} Y {} Z {} {} (machine coordinates, rotary axes at 0)\n",
      believed_word(m.believed), fixed_text(m.worst_mm / mm, decimals), unit, fine(m.step_mm.x()),
      fine(m.step_mm.y()), fine(m.step_mm.z()), uncertainty_text(m.U95_mm / mm, decimals), unit,
      angles_text(result, m.first_rad), angles_text(result, m.second_rad), place(m.corner_mm.x()),
      place(m.corner_mm.y()), place(m.corner_mm.z()), unit);
}

}  // namespace

std::string judge_text(const FitResult& result, const JudgeReport& report) {
  std::string text =
      fmt::format("Machine \"{}\", measured {}, fitted {}\n", result.machine_name,
                  result.started.empty() ? "at a time not stated" : result.started, result.made);
  if (result.simulated) text += std::string(simulated_notice) + "\n";
  for (const Judgement& j : report.judgements) {
    const auto [unit, decimals] = shown_unit(j.unit);
    text += fmt::format("\n{}: {}\n", subject_text(j), verdict_word(j.verdict));
    text += fmt::format("  measured {} {}, U95 {} {}\n", fixed_text(j.measured, decimals), unit,
                        uncertainty_text(j.U95, decimals), unit);
    text += fmt::format("  limits {} {}\n", zone_text(j.low, j.high, decimals), unit);
    text += fmt::format("  guard band {} {}, so proven only {} {}\n",
                        uncertainty_text(j.guard, decimals), unit,
                        zone_text(guarded(j, true), guarded(j, false), decimals), unit);
    if (std::isfinite(j.probability)) {
      text += fmt::format("  probability that it lies within the limits: {} percent\n",
                          fixed_text(100.0 * j.probability, 1));
    }
    const std::string settles = settling_text(j);
    if (!settles.empty()) text += wrapped(settles, "  ", 2);
  }
  if (!report.mismatches.empty()) {
    text += "\nWhat it does to parts: worst step between features cut at two index positions\n";
  }
  for (const PartMismatch& m : report.mismatches) text += mismatch_text(result, m, report.inch);
  for (const std::string& warning : warnings_of(report)) {
    text += "\n" + wrapped(warning, "note: ", 6);
  }
  text += fmt::format("\nAll in all: {} (decision rule of ISO 14253-1)\n",
                      verdict_word(report.verdict));
  return text + wrapped(caution(wrong_value_caution), "", 0);
}

std::string judge_json(const FitResult& result, const JudgeReport& report) {
  JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-judgement-1");
  json.add("machine", result.machine_name);
  json.add("simulated", result.simulated);
  json.add("measured", result.started);
  json.add("fitted", result.made);
  json.add("verdict", verdict_word(report.verdict));
  json.add("caution", wrong_value_caution);
  json.begin_array("judgements");
  for (const Judgement& judgement : report.judgements) add_judgement(json, judgement);
  json.end();
  json.begin_array("part");
  for (const PartMismatch& mismatch : report.mismatches) add_mismatch(json, result, mismatch);
  json.end();
  json.add("warnings", warnings_of(report));
  json.end();
  return json.take();
}

}  // namespace pivotrace

#include "pivotrace/pivots/judge.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

/// A quantity in mm or rad (or mm per 300 mm), however it came about.
struct Measured {
  Quantity quantity = Quantity::length;
  double value = not_run;
  double U95 = not_run;
  std::string output;  ///< its name in the budget; empty = none
};

struct ShownUnit {
  std::string word;
  double per_physical = 1.0;  ///< shown units per mm, rad or mm/300mm
  int decimals = 4;
};

std::optional<ShownUnit> unit_of(Quantity quantity, LimitUnit unit, bool inch) {
  if (quantity == Quantity::length && unit == LimitUnit::automatic && inch) unit = LimitUnit::inch;
  const bool automatic = unit == LimitUnit::automatic;
  if (quantity == Quantity::length && (automatic || unit == LimitUnit::mm)) {
    return ShownUnit{"mm", 1.0, 4};
  }
  if (quantity == Quantity::length && unit == LimitUnit::inch) {
    return ShownUnit{"inch", 1.0 / mm_per_inch, 5};
  }
  if (quantity == Quantity::angle && (automatic || unit == LimitUnit::deg)) {
    return ShownUnit{"deg", deg_from_rad(1.0), 5};
  }
  if (quantity == Quantity::angle && unit == LimitUnit::arcsec) {
    return ShownUnit{"arcsec", arcsec_from_rad(1.0), 1};
  }
  if (quantity == Quantity::angle && unit == LimitUnit::mm_per_300) {
    // Leans are small: tan x = x to 1e-7 mm over 300 mm below 0.05 deg.
    return ShownUnit{"mm/300mm", 300.0, 4};
  }
  if (quantity == Quantity::slope && (automatic || unit == LimitUnit::mm_per_300)) {
    return ShownUnit{"mm/300mm", 1.0, 4};
  }
  return std::nullopt;
}

/// "A.location.Y" for "A.centre.Y": the name the budget and the covariance use.
std::string output_name(const std::string& value) {
  for (const auto& [from, to] :
       {std::pair{".centre.", ".location."}, std::pair{".slope.", ".orientation."}}) {
    const std::size_t at = value.find(from);
    if (at != std::string::npos)
      return value.substr(0, at) + to + value.substr(at + std::string(from).size());
  }
  return value;
}

/// A deviation range is the difference of two station deviations. Each is known no worse than one
/// touch tells it, so u = sqrt(2) sigma_touch: derived here, an upper bound for stations of several
/// touches.
std::optional<Measured> deviation_range(const FitResult& result, const std::string& name) {
  for (const AxisResult& axis : result.axes) {
    if (!axis.estimated) continue;
    const std::vector<std::pair<std::string, double>> ranges = {
        {"F_R", axis.ranges.F_R}, {"F_T", axis.ranges.F_T}, {"F_A", axis.ranges.F_A}};
    for (const auto& [word, range] : ranges) {
      if (name != fmt::format("{}.{}", axis.letter, word) || !std::isfinite(range)) continue;
      Measured measured;
      measured.value = range;
      measured.U95 = normal_quantile(0.975) * std::sqrt(2.0) * result.fit.touch_sigma_mm;
      return measured;
    }
  }
  return std::nullopt;
}

tl::unexpected<Problems> at_limit(Problems problems, const Limit& limit) {
  for (Problem& problem : problems) problem.where = limit.where;
  return tl::make_unexpected(std::move(problems));
}

Expected<Measured> change_since(const Measured& now, const PivotValue& value_now,
                                const Limit& limit, const FitResult* previous) {
  if (previous == nullptr) {
    return failure(
        {ProblemNumber::bad_argument,
         fmt::format("the limit on the change of \"{}\" needs a previous result", limit.value),
         limit.where, "name it: --previous OLD.json"});
  }
  const auto old_values = pivot_values(*previous);
  if (!old_values) return at_limit(old_values.error(), limit);
  const auto old = find_pivot_value(*old_values, limit.value);
  if (!old) return at_limit(old.error(), limit);
  Measured change = now;
  change.value = now.value - old->value;
  // Two surveys of one set-up: what is common to both (probe offset, diameters) cancels.
  change.U95 = std::hypot(value_now.U95_repeatable, old->U95_repeatable);
  return change;
}

Expected<Measured> measured_for(const FitResult& result, const std::vector<PivotValue>& values,
                                const Limit& limit, const FitResult* previous) {
  if (const auto range = deviation_range(result, limit.value)) {
    if (!limit.change) return *range;
    return failure({ProblemNumber::bad_argument, "a deviation range has no change to judge",
                    limit.where, "judge the range itself"});
  }
  const auto value = find_pivot_value(values, limit.value);
  if (!value) return at_limit(value.error(), limit);
  Measured measured;
  measured.quantity = value->quantity;
  measured.value = value->value;
  measured.U95 = value->U95;
  measured.output = output_name(limit.value);
  if (limit.change) return change_since(measured, *value, limit, previous);
  return measured;
}

/// Distance to the nearest limit, negative outside.
double room(const Judgement& j) {
  double room = std::numeric_limits<double>::infinity();
  if (j.low) room = std::min(room, j.measured - *j.low);
  if (j.high) room = std::min(room, *j.high - j.measured);
  return room;
}

struct BudgetShares {
  double random = 0.0;  ///< falls with more stations
  double common = 0.0;  ///< does not
  std::string largest_common;
};

BudgetShares shares_of(const FitResult& result, const std::string& output) {
  BudgetShares shares;
  double largest = 0.0;
  for (const BudgetLine& line : result.budget) {
    if (line.output != output) continue;
    const bool random = line.source.starts_with("touch") || line.source.starts_with("station") ||
                        line.source.starts_with("index");
    (random ? shares.random : shares.common) += line.share;
    if (!random && line.share > largest) {
      largest = line.share;
      shares.largest_common = line.source;
    }
  }
  return shares;
}

std::string more_stations_text(const FitResult& result, const std::string& output,
                               double wanted_ratio) {
  const auto stations = static_cast<double>(result.stations.size());
  const BudgetShares shares = shares_of(result, output);
  if (shares.random <= 0.0 || stations < 1.0) return "";
  const double allowed = wanted_ratio * wanted_ratio - shares.common;
  if (allowed <= 0.0) {
    return fmt::format(
        "; more stations alone cannot do it: {} percent of the variance is common to all touches, "
        "most of it \"{}\": improve that first (calibrate the probe)",
        static_cast<int>(std::lround(100.0 * shares.common)), shares.largest_common);
  }
  const double wanted = std::ceil(stations * shares.random / allowed);
  constexpr double most_sensible = 10.0;
  if (wanted > most_sensible * stations) {
    return "; that is more stations than sensible: take a better probe or a larger artefact circle";
  }
  return fmt::format("; about {} stations in place of {} would do, or a better probe",
                     static_cast<int>(wanted), static_cast<int>(stations));
}

std::string settling(const FitResult& result, const Judgement& j, const std::string& output,
                     double guard_factor) {
  const double to_limit = room(j);
  if (j.verdict == Verdict::does_not_conform) {
    return fmt::format("out by {} {}: align it or correct the value, then measure again",
                       fixed_text(-to_limit, j.decimals), j.unit);
  }
  if (j.verdict == Verdict::conforms) return "";
  const double U95_needed = std::abs(to_limit) / guard_factor;
  if (U95_needed <= 0.0)
    return "it lies on the limit: no measurement settles that, move it inwards";
  std::string text =
      fmt::format("settled by U95 of {} {} or less (now {})", fixed_text(U95_needed, j.decimals),
                  j.unit, uncertainty_text(j.U95, j.decimals));
  text += more_stations_text(result, output, U95_needed / j.U95);
  if (to_limit > 0.0 && j.low && j.high && 2.0 * j.guard >= *j.high - *j.low) {
    text += "; as it is, the guard bands leave no acceptance zone at all";
  }
  return text;
}

Expected<Judgement> judged(const FitResult& result, const std::vector<PivotValue>& values,
                           const Limit& limit, const Limits& limits, const FitResult* previous) {
  const auto measured = measured_for(result, values, limit, previous);
  if (!measured) return tl::make_unexpected(measured.error());
  const auto unit = unit_of(measured->quantity, limit.unit, limits.inch);
  if (!unit) {
    return failure({ProblemNumber::wrong_units,
                    fmt::format("the unit of the limit on \"{}\" does not suit it", limit.value),
                    limit.where,
                    "lengths: mm or inch; angles: deg, arcsec or mm_per_300; slopes: mm_per_300"});
  }
  Judgement j;
  j.value = limit.change ? "change of " + limit.value : limit.value;
  j.unit = unit->word;
  j.decimals = unit->decimals;
  j.measured = measured->value * unit->per_physical;
  j.U95 = measured->U95 * unit->per_physical;
  j.guard = limits.guard_factor * j.U95;
  j.low = limit.low;
  j.high = limit.high;
  j.verdict = verdict_of(j.measured, j.guard, j.low, j.high);
  j.probability =
      conformance_probability(j.measured, j.U95 / normal_quantile(0.975), j.low, j.high);
  j.settles = settling(result, j, measured->output, limits.guard_factor);
  return j;
}

Verdict worse(Verdict left, Verdict right) { return std::max(left, right); }

/// The mismatch with the values about to be used, judged against what the part allows.
Judgement judged_mismatch(const PartMismatch& mismatch, double allowed_mm, double guard_factor) {
  Judgement j;
  j.value = "part mismatch, " + mismatch.believed;
  j.unit = "mm";
  j.measured = mismatch.worst_mm;
  j.U95 = mismatch.U95_mm;
  j.guard = guard_factor * j.U95;
  j.high = allowed_mm;
  j.verdict = verdict_of(j.measured, j.guard, j.low, j.high);
  j.probability =
      conformance_probability(j.measured, j.U95 / normal_quantile(0.975), j.low, j.high);
  if (j.verdict != Verdict::conforms) {
    j.settles =
        "a work offset cannot take a lean out: align the unit (`pivotrace shim`), keep parts near "
        "the quoted plane, or measure better";
  }
  return j;
}

Problems machine_problems(const FitResult& result, const Limits& limits,
                          const JudgeInputs& inputs) {
  Problems problems;
  if (inputs.allow_other_machine) return problems;
  const auto check = [&](const std::string& machine, const std::string& whose) {
    if (machine.empty() || machine == result.machine_name) return;
    problems.push_back(
        {ProblemNumber::other_machine,
         fmt::format("the result is for the machine \"{}\", but {} for \"{}\"", result.machine_name,
                     whose, machine),
         {limits.file, 0, 0},
         "take what belongs together; --allow-other-machine judges it all the same"});
  };
  check(limits.machine, "the limits are");
  if (inputs.previous != nullptr) check(inputs.previous->machine_name, "the previous result is");
  return problems;
}

Expected<bool> judge_part(const FitResult& result, const Limits& limits, const JudgeInputs& inputs,
                          JudgeReport& report) {
  auto positions = index_angles(result, {});
  positions->clear();
  for (const std::string& text : limits.part->at) {
    auto more = index_angles(result, {text});
    if (!more) {
      for (Problem& problem : more.error()) problem.where = limits.part->where;
      return tl::make_unexpected(more.error());
    }
    positions->insert(positions->end(), more->begin(), more->end());
  }
  if (positions->size() < 2) {
    return failure({ProblemNumber::out_of_range, "part: one index position alone cannot mismatch",
                    limits.part->where,
                    "name at least two, for example at = [\"A=0\", \"A=180\"]"});
  }
  constexpr std::size_t most_positions = 200;
  if (positions->size() > most_positions) {
    return failure({ProblemNumber::out_of_range,
                    fmt::format("part: more than {} index positions", most_positions),
                    limits.part->where, "name the ones where features meet"});
  }
  report.mismatches = part_mismatches(result, inputs.previous, *limits.part, *positions);
  if (limits.part->mismatch_mm) {
    // With an offset set to the new centre the lean stays: that is what a control without
    // compensation of leans cuts, so that is what is judged.
    report.judgements.push_back(
        judged_mismatch(report.mismatches[1], *limits.part->mismatch_mm, limits.guard_factor));
  }
  return true;
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

nlohmann::ordered_json json_number(const std::optional<double>& number) {
  return number && std::isfinite(*number) ? nlohmann::ordered_json(*number)
                                          : nlohmann::ordered_json(nullptr);
}

}  // namespace

const char* verdict_word(Verdict verdict) {
  switch (verdict) {
    case Verdict::conforms: return "conforms";
    case Verdict::not_proven: return "not proven";
    case Verdict::does_not_conform: return "does not conform";
  }
  return "";
}

Verdict verdict_of(double y, double guard, std::optional<double> low, std::optional<double> high) {
  if (!std::isfinite(y) || !std::isfinite(guard)) return Verdict::not_proven;
  if ((low && y < *low - guard) || (high && y > *high + guard)) return Verdict::does_not_conform;
  const bool inside = (!low || y >= *low + guard) && (!high || y <= *high - guard);
  return inside ? Verdict::conforms : Verdict::not_proven;
}

double conformance_probability(double y, double u, std::optional<double> low,
                               std::optional<double> high) {
  if (!std::isfinite(y) || !std::isfinite(u)) return not_run;
  if (u <= 0.0) return (!low || y >= *low) && (!high || y <= *high) ? 1.0 : 0.0;
  const double below_high = high ? normal_cdf((*high - y) / u) : 1.0;
  const double below_low = low ? normal_cdf((*low - y) / u) : 0.0;
  return below_high - below_low;
}

Expected<JudgeReport> judge(const FitResult& result, const Limits& limits,
                            const JudgeInputs& inputs) {
  const auto values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  Problems problems = limits.validate();
  // A change against a result that must not be used would look like an answer.
  if (inputs.previous != nullptr) {
    for (Problem problem : reasons_not_to_write(*inputs.previous)) {
      problem.what = "the previous result: " + problem.what;
      problems.push_back(std::move(problem));
    }
  }
  const Problems machines = machine_problems(result, limits, inputs);
  problems.insert(problems.end(), machines.begin(), machines.end());
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));

  JudgeReport report;
  for (const Limit& limit : limits.limits) {
    const auto judgement = judged(result, *values, limit, limits, inputs.previous);
    if (judgement) {
      report.judgements.push_back(*judgement);
    } else {
      problems.insert(problems.end(), judgement.error().begin(), judgement.error().end());
    }
  }
  if (limits.part) {
    const auto done = judge_part(result, limits, inputs, report);
    if (!done) problems.insert(problems.end(), done.error().begin(), done.error().end());
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  for (const Judgement& j : report.judgements) report.verdict = worse(report.verdict, j.verdict);
  if (limits.guard_factor < 1.0) {
    report.warnings.push_back(fmt::format("guard factor {}: this is less than ISO 14253-1 asks for",
                                          fixed_text(limits.guard_factor, 2)));
  }
  return report;
}

std::string judge_text(const FitResult& result, const JudgeReport& report) {
  std::string text =
      fmt::format("Machine \"{}\", measured {}, fitted {}\n", result.machine_name,
                  result.started.empty() ? "at a time not stated" : result.started, result.made);
  for (const Judgement& j : report.judgements) {
    text += fmt::format("\n{}: {}\n", j.value, verdict_word(j.verdict));
    text += fmt::format("  measured {} {}, U95 {} {}\n", fixed_text(j.measured, j.decimals), j.unit,
                        uncertainty_text(j.U95, j.decimals), j.unit);
    text += fmt::format("  limits {} {}\n", zone_text(j.low, j.high, j.decimals), j.unit);
    text += fmt::format("  guard band {} {}, so proven only {} {}\n",
                        uncertainty_text(j.guard, j.decimals), j.unit,
                        zone_text(guarded(j, true), guarded(j, false), j.decimals), j.unit);
    if (std::isfinite(j.probability)) {
      text += fmt::format("  probability that it lies within the limits: {} percent\n",
                          fixed_text(100.0 * j.probability, 1));
    }
    if (!j.settles.empty()) text += wrapped(j.settles, "  ", 2);
  }
  if (!report.mismatches.empty()) {
    text += "\nWhat it does to parts: worst step between features cut at two index positions\n";
  }
  for (const PartMismatch& m : report.mismatches) {
    text += fmt::format(
        "  {}:\n    {} mm (X {}, Y {}, Z {}), U95 {} mm\n"
        "    between {} and {},\n    at X {} Y {} Z {} mm (machine coordinates, rotary axes at "
        "0)\n",
        m.believed, fixed_text(m.worst_mm, 4), signed_text(m.step_mm.x(), 4),
        signed_text(m.step_mm.y(), 4), signed_text(m.step_mm.z(), 4), uncertainty_text(m.U95_mm, 4),
        angles_text(result, m.first_rad), angles_text(result, m.second_rad),
        fixed_text(m.corner_mm.x(), 1), fixed_text(m.corner_mm.y(), 1),
        fixed_text(m.corner_mm.z(), 1));
  }
  for (const std::string& warning : report.warnings) text += "\n" + wrapped(warning, "note: ", 6);
  text += fmt::format("\nAll in all: {} (decision rule of ISO 14253-1)\n",
                      verdict_word(report.verdict));
  return text;
}

std::string judge_json(const FitResult& result, const JudgeReport& report) {
  nlohmann::ordered_json json;
  json["format"] = "pivotrace-judgement-1";
  json["machine"] = result.machine_name;
  json["measured"] = result.started;
  json["fitted"] = result.made;
  json["verdict"] = verdict_word(report.verdict);
  json["judgements"] = nlohmann::ordered_json::array();
  for (const Judgement& j : report.judgements) {
    json["judgements"].push_back({{"value", j.value},
                                  {"unit", j.unit},
                                  {"measured", json_number(j.measured)},
                                  {"U95", json_number(j.U95)},
                                  {"guard", json_number(j.guard)},
                                  {"low", json_number(j.low)},
                                  {"high", json_number(j.high)},
                                  {"probability", json_number(j.probability)},
                                  {"verdict", verdict_word(j.verdict)},
                                  {"settles", j.settles}});
  }
  json["part"] = nlohmann::ordered_json::array();
  for (const PartMismatch& m : report.mismatches) {
    json["part"].push_back(
        {{"values", m.believed},
         {"worst_mm", m.worst_mm},
         {"U95_mm", m.U95_mm},
         {"step_mm", {m.step_mm.x(), m.step_mm.y(), m.step_mm.z()}},
         {"corner_mm", {m.corner_mm.x(), m.corner_mm.y(), m.corner_mm.z()}},
         {"between", {angles_text(result, m.first_rad), angles_text(result, m.second_rad)}}});
  }
  json["warnings"] = report.warnings;
  return json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace pivotrace

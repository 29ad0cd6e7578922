#include "pivotrace/pivots/judge.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivotrace/results/statistics.h"
#include "pivots/limit_scale.h"

namespace pivotrace {

namespace {

/// A quantity in mm or rad (or mm per 300 mm), however it came about.
struct Measured {
  QuantityKind quantity = QuantityKind::length;
  double value = not_run;
  double U95 = not_run;
  std::optional<ValueName> output;  ///< whose budget stands for it; absent = none has
};

/// The value whose budget and covariance stand for this one: a slope is its orientation.
ValueName budgeted(const ValueName& value) {
  ValueName output = value;
  if (output.kind == ValueKind::slope) output.kind = ValueKind::orientation;
  return output;
}

/// A deviation range is the difference of two station deviations. Each is known no worse than one
/// touch tells it, so u = sqrt(2) sigma_touch: derived here, an upper bound for stations of several
/// touches.
std::optional<Measured> deviation_range(const FitResult& result,
                                        const std::optional<ValueName>& name) {
  for (const AxisResult& axis : result.axes) {
    if (!axis.estimated || !name) continue;
    for (const auto& [kind, range] : {std::pair{ValueKind::radial_range, axis.ranges.F_R},
                                      std::pair{ValueKind::tangential_range, axis.ranges.F_T},
                                      std::pair{ValueKind::axial_range, axis.ranges.F_A}}) {
      if (*name != axis_value(axis.letter, kind) || !std::isfinite(range)) continue;
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
    return failure({ProblemNumber::bad_argument,
                    fmt::format("the limit on the change of \"{}\" needs a previous result",
                                limit.value.written),
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
  if (const auto range = deviation_range(result, limit.value.name)) {
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
  measured.output = budgeted(value->name);
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
  std::optional<BudgetSource> largest_common;
};

BudgetShares shares_of(const FitResult& result, const std::optional<ValueName>& output) {
  BudgetShares shares;
  double largest = 0.0;
  for (const BudgetLine& line : result.budget) {
    if (line.output != output) continue;
    const bool random = is_random(line.source);
    (random ? shares.random : shares.common) += line.share;
    if (!random && line.share > largest) {
      largest = line.share;
      shares.largest_common = line.source;
    }
  }
  return shares;
}

void weigh_more_stations(const FitResult& result, const std::optional<ValueName>& output,
                         double wanted_ratio, Settling& settling) {
  settling.stations = static_cast<int>(result.stations.size());
  const BudgetShares shares = shares_of(result, output);
  if (shares.random <= 0.0 || settling.stations < 1) return;
  settling.common_share = shares.common;
  settling.largest_common = shares.largest_common;
  const double allowed = wanted_ratio * wanted_ratio - shares.common;
  settling.more_stations = Settling::MoreStations::cannot_do_it;
  if (allowed <= 0.0) return;
  const double wanted = std::ceil(settling.stations * shares.random / allowed);
  // More stations than this many times the present ones nobody measures (common practice, no source).
  constexpr double most_sensible = 10.0;
  const bool sensible = wanted <= most_sensible * settling.stations;
  settling.more_stations =
      sensible ? Settling::MoreStations::would_do : Settling::MoreStations::too_many;
  if (sensible) settling.stations_wanted = static_cast<int>(wanted);
}

Settling settling_of(const FitResult& result, const Judgement& j,
                     const std::optional<ValueName>& output, double guard_factor) {
  Settling settling;
  const double to_limit = room(j);
  if (j.verdict == Verdict::conforms) return settling;
  if (j.verdict == Verdict::does_not_conform) {
    settling.kind = Settling::Kind::correct_it;
    settling.out_by = -to_limit;
    return settling;
  }
  settling.U95_needed = std::abs(to_limit) / guard_factor;
  if (settling.U95_needed <= 0.0) {
    settling.kind = Settling::Kind::move_inwards;
    return settling;
  }
  settling.kind = Settling::Kind::measure_better;
  weigh_more_stations(result, output, settling.U95_needed / j.U95, settling);
  settling.no_acceptance_zone =
      to_limit > 0.0 && j.low && j.high && 2.0 * j.guard >= *j.high - *j.low;
  return settling;
}

/// Verdict and probability from what was measured and the limits.
void decide(Judgement& j) {
  j.verdict = verdict_of(j.measured, j.guard, j.low, j.high);
  j.probability =
      conformance_probability(j.measured, j.U95 / normal_quantile(0.975), j.low, j.high);
}

Expected<Judgement> judged(const FitResult& result, const std::vector<PivotValue>& values,
                           const Limit& limit, const Limits& limits, const FitResult* previous) {
  const auto measured = measured_for(result, values, limit, previous);
  if (!measured) return tl::make_unexpected(measured.error());
  const auto scale = limit_scale(measured->quantity, limit.unit, limits.inch);
  if (!scale) return failure(unit_does_not_suit(limit));
  Judgement j;
  j.subject = JudgedValue{limit.value.name.value(), limit.change};
  j.unit = scale->unit;
  j.measured = measured->value * scale->per_physical;
  j.U95 = measured->U95 * scale->per_physical;
  j.guard = limits.guard_factor * j.U95;
  j.low = limit.low;
  j.high = limit.high;
  decide(j);
  j.settling = settling_of(result, j, measured->output, limits.guard_factor);
  return j;
}

Verdict worse(Verdict left, Verdict right) { return std::max(left, right); }

/// The mismatch with the values about to be used, judged against what the part allows.
Judgement judged_mismatch(const PartMismatch& mismatch, double allowed_mm, const Limits& limits) {
  const LimitScale scale = *limit_scale(QuantityKind::length, LimitUnit::automatic, limits.inch);
  Judgement j;
  j.subject = mismatch.believed;
  j.unit = scale.unit;
  j.measured = mismatch.worst_mm * scale.per_physical;
  j.U95 = mismatch.U95_mm * scale.per_physical;
  j.guard = limits.guard_factor * j.U95;
  j.high = allowed_mm * scale.per_physical;
  decide(j);
  if (j.verdict != Verdict::conforms) j.settling.kind = Settling::Kind::align_unit;
  return j;
}

Problems machine_problems(const FitResult& result, const Limits& limits,
                          const JudgeInputs& inputs) {
  Problems problems;
  if (inputs.allow_other_machine) return problems;
  const auto check = [&](const std::string& machine, const std::string& whose) {
    if (machine.empty() || machine == result.machine_name) return;
    problems.push_back(of_another_machine(machine, whose, result.machine_name, limits));
  };
  check(limits.machine, "the limits are");
  if (inputs.previous != nullptr) check(inputs.previous->machine_name, "the previous result is");
  return problems;
}

Expected<bool> judge_part(const FitResult& result, const Limits& limits, const JudgeInputs& inputs,
                          JudgeReport& report) {
  const auto positions = part_positions(result, *limits.part);
  if (!positions) return tl::make_unexpected(positions.error());
  if (positions->size() < 2) {
    return failure({ProblemNumber::out_of_range, "part: one index position alone cannot mismatch",
                    limits.part->where,
                    "name at least two, for example at = [\"A=0\", \"A=180\"]"});
  }
  // Every pair of them is compared; no part has more (common practice, no source).
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
        judged_mismatch(report.mismatches[1], *limits.part->mismatch_mm, limits));
  }
  return true;
}

}  // namespace

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
  report.inch = limits.inch;
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
  report.guard_factor = limits.guard_factor;
  return report;
}

}  // namespace pivotrace

#include "pivotrace/results/confirm.h"

#include <algorithm>
#include <cmath>

#include "pivotrace/results/compare.h"
#include "pivotrace/results/statistics.h"
#include "results/epoch_pair.h"

namespace pivotrace {

namespace {

/// Level and share of the verdict: common practice, no source.
constexpr double level = 0.05;
constexpr double U95_of_tolerance = 3.0;

double tolerance_of(const NamedEstimate& named, const ConfirmOptions& options) {
  const double written = named.estimate.value;
  const auto room = room_from(named.name, written, options.rooms, options.within_mm);
  return room ? room->left_at(0.0) : U95_of_tolerance * named.estimate.U95_absolute;
}

/// What was written is a number: of the bounds only what may lie between two surveys enters beside those of
/// the survey that looks at it.
Eigen::VectorXd shifts_between_surveys(const EpochPair& pair) {
  return pair.between_surveys_mm * pair.bias.gains.rightCols<3>().cwiseAbs().rowwise().sum();
}

Holding holding_of(const ConfirmedValue& value) {
  if (equivalence(value.off(), value.u, value.dof, -value.tolerance, value.tolerance, value.B,
                  level)
          .within) {
    return Holding::holds;
  }
  const double beyond = std::abs(value.off()) - value.B - value.tolerance;
  const bool proven = beyond > student_t_quantile(1.0 - level, value.dof) * value.u;
  return proven ? Holding::does_not : Holding::cannot_tell;
}

}  // namespace

std::vector<ToleratedValue> tolerated_values(const FitResult& written,
                                             const ConfirmOptions& options) {
  std::vector<ToleratedValue> values;
  for (const AxisResult& axis : written.axes) {
    if (!axis.estimated) continue;
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *list) {
        values.push_back({named.name, named.estimate.value, tolerance_of(named, options)});
      }
    }
  }
  return values;
}

Holding overall(const std::vector<ConfirmedValue>& values) {
  const auto any = [&](Holding holding) {
    return std::ranges::find(values, holding, &ConfirmedValue::holding) != values.end();
  };
  if (any(Holding::does_not)) return Holding::does_not;
  return any(Holding::cannot_tell) ? Holding::cannot_tell : Holding::holds;
}

namespace {

/// A written value that lies outside its own limits needs no survey.
Problems written_outside(const std::vector<ToleratedValue>& values) {
  Problems problems;
  for (const ToleratedValue& value : values) {
    if (value.tolerance > 0.0) continue;
    problems.push_back(
        {ProblemNumber::out_of_range,
         "the value written for " + text_of(value.name) + " is itself outside its limits",
         {},
         "correct the limits, or the value"});
  }
  return problems;
}

}  // namespace

Expected<std::vector<ConfirmedValue>> confirm(const FitResult& written, const FitResult& found,
                                              const ConfirmOptions& options) {
  const std::vector<ToleratedValue> tolerated = tolerated_values(written, options);
  Problems outside = written_outside(tolerated);
  if (!outside.empty()) return tl::make_unexpected(std::move(outside));
  CompareOptions pairing;
  pairing.allow_other_machine = options.allow_other_machine;
  pairing.between_surveys_mm = options.between_surveys_mm;
  pairing.between_surveys_stated = true;
  const auto pair = paired(written, found, pairing);
  if (!pair) return tl::make_unexpected(pair.error());
  const Eigen::VectorXd between = shifts_between_surveys(*pair);
  std::vector<ConfirmedValue> values;
  for (const ToleratedValue& asked : tolerated) {
    const auto place = std::ranges::find(pair->names, asked.name);
    if (place == pair->names.end()) continue;
    const Estimate& estimate = *find_estimate(found, asked.name);
    ConfirmedValue value;
    value.name = asked.name;
    value.written = asked.written;
    value.found = estimate.value;
    value.u = estimate.u_absolute;
    value.dof = estimate.dof;
    value.B = std::hypot(estimate.B_absolute, between[place - pair->names.begin()]);
    value.tolerance = asked.tolerance;
    value.holding = holding_of(value);
    values.push_back(value);
  }
  return values;
}

namespace {

Problems faults_of(const FitResult& written, const CutTest& cut, double per_centre) {
  Problems problems;
  const auto axis = std::ranges::find(written.axes, cut.axis, &AxisResult::letter);
  const std::string name(1, cut.axis);
  if (axis == written.axes.end() || !axis->estimated) {
    problems.push_back({ProblemNumber::no_such_value,
                        "the result states nothing of an axis " + name,
                        {},
                        "name an axis the survey turned"});
  } else if (axis->side != AxisSide::work) {
    problems.push_back({ProblemNumber::bad_argument,
                        "axis " + name + " carries the tool, not the work",
                        {},
                        "cut at two angles of an axis that carries the work"});
  }
  constexpr double least_lever = 0.01;
  if (!(per_centre > least_lever)) {
    problems.push_back({ProblemNumber::bad_argument,
                        "the two angles of the cut are one place",
                        {},
                        "cut at angles far apart; half a turn shows most"});
  }
  if (!(cut.step_mm >= 0.0) || !(cut.step_U95_mm > 0.0)) {
    problems.push_back({ProblemNumber::bad_argument,
                        "the step must be a length, and its U95 more than 0",
                        {},
                        "give both as measured, for example --step 0.018 --step-u95 0.004"});
  }
  return problems;
}

/// Length of a centre vector whose coordinates are each off by so much.
template <typename PerCoordinate>
double across(const FitResult& written, char letter, const PerCoordinate& per_coordinate) {
  const auto axis = std::ranges::find(written.axes, letter, &AxisResult::letter);
  double squares = 0.0;
  for (const NamedEstimate& named : axis->centre) squares += std::pow(per_coordinate(named), 2);
  return std::sqrt(squares);
}

}  // namespace

Expected<CutEvidence> cut_evidence(const FitResult& written, const CutTest& cut,
                                   const ConfirmOptions& options) {
  CutEvidence evidence;
  evidence.per_centre = 2.0 * std::abs(std::sin(0.5 * (cut.second_rad - cut.first_rad)));
  Problems problems = faults_of(written, cut, evidence.per_centre);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const double U95 =
      across(written, cut.axis, [](const NamedEstimate& n) { return n.estimate.U95_absolute; });
  evidence.expected_mm = evidence.per_centre * (U95 + options.between_surveys_mm);
  evidence.off_mm = cut.step_mm / evidence.per_centre;
  evidence.off_U95_mm = cut.step_U95_mm / evidence.per_centre;
  evidence.tolerance_mm = options.within_mm ? *options.within_mm : U95_of_tolerance * U95;
  if (evidence.off_mm + evidence.off_U95_mm <= evidence.tolerance_mm) {
    evidence.holding = Holding::holds;
  } else if (evidence.off_mm - evidence.off_U95_mm > evidence.tolerance_mm) {
    evidence.holding = Holding::does_not;
  }
  evidence.something_else = cut.step_mm - cut.step_U95_mm > evidence.expected_mm;
  return evidence;
}

}  // namespace pivotrace

#include "pivotrace/results/compare.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/line.h"
#include "pivotrace/results/statistics.h"
#include "results/epoch_pair.h"
#include "results/explanations.h"

namespace pivotrace {

namespace {

/// A change counts as visible when it is found in 8 of 10 cases (common practice, no source).
constexpr double visible_power = 0.80;
/// A value counts as moved once the survey-wide test opened and it is beyond its U95.
constexpr double value_level = 0.05;

/// What of a change of value i alone is left when every bias within its bounds works against it.
double noncentrality_left(const EpochPair& pair, Eigen::Index i, double change) {
  const Congruency test =
      congruency_beside(change * Eigen::VectorXd::Unit(pair.size(), i), pair.covariance, pair.dof,
                        pair.bias.gains, pair.bias.half_widths);
  return test.statistic * test.h;
}

/// Without any bias: change^2 (C^-1)_ii.
double visible_without_bias(const EpochPair& pair, Eigen::Index i, double wanted) {
  const Eigen::VectorXd unit = Eigen::VectorXd::Unit(pair.size(), i);
  return std::sqrt(wanted / unit.dot(pair.covariance.ldlt().solve(unit)));
}

/// The change of value i alone at which that reaches `wanted`: it grows with the change.
double visible_in_survey(const EpochPair& pair, Eigen::Index i, double wanted) {
  double low = visible_without_bias(pair, i, wanted);
  if (!(pair.bias.half_widths.maxCoeff() > 0.0)) return low;
  double high = low;
  constexpr int most_doublings = 40;
  for (int k = 0; k < most_doublings && noncentrality_left(pair, i, high) < wanted; ++k) {
    low = high;
    high *= 2.0;
  }
  constexpr int halvings = 24;  // to 1e-7 of the change
  for (int k = 0; k < halvings && high > low; ++k) {
    const double middle = 0.5 * (low + high);
    (noncentrality_left(pair, i, middle) < wanted ? low : high) = middle;
  }
  return high;
}

/// How large a change of value i alone must be for the survey-wide test to open, and to be beyond its own
/// U95, in 8 of 10 cases: the larger of the two.
double visible(const EpochPair& pair, Eigen::Index i, double B, double noncentrality) {
  const double by_value = std::sqrt(f_test_noncentrality(value_level, visible_power, 1.0,
                                                         pair.dofs[static_cast<std::size_t>(i)]) *
                                    pair.covariance(i, i));
  return std::max(visible_in_survey(pair, i, noncentrality), by_value + B);
}

ValueChange value_change(const EpochPair& pair, Eigen::Index i, double B, bool opened) {
  ValueChange value;
  value.name = pair.names[static_cast<std::size_t>(i)];
  value.old_value = pair.old_values[i];
  value.new_value = pair.old_values[i] + pair.change[i];
  value.change = pair.change[i];
  value.u = std::sqrt(pair.covariance(i, i));
  value.dof = pair.dofs[static_cast<std::size_t>(i)];
  value.B = B;
  value.U95 = biased_expanded(value.u, value.dof, value.B);
  value.moved = opened && std::abs(value.change) > value.U95;
  return value;
}

void apply_tolerance(double within_mm, ValueChange& value) {
  constexpr double lean_length_mm = 300.0;
  const double tolerance = is_angle(value.name) ? within_mm / lean_length_mm : within_mm;
  value.tolerance = tolerance;
  value.within_tolerance = equivalence(value.change, value.u, value.dof, tolerance, value.B).within;
}

std::vector<ValueChange> value_changes(const EpochPair& pair, const Congruency& test,
                                       const CompareOptions& options) {
  const double noncentrality =
      f_test_noncentrality(moved_level, visible_power, static_cast<double>(test.h), pair.dof);
  const Eigen::VectorXd B = pair.bias.largest_shifts();
  std::vector<ValueChange> values;
  for (Eigen::Index i = 0; i < pair.size(); ++i) {
    ValueChange value = value_change(pair, i, B[i], test.rejects(moved_level));
    value.smallest_seen = visible(pair, i, B[i], noncentrality);
    if (options.within_mm) apply_tolerance(*options.within_mm, value);
    values.push_back(value);
  }
  return values;
}

std::optional<bool> overall(const Congruency& test, const std::vector<ValueChange>& values) {
  if (test.rejects(moved_level)) return true;
  const bool proven = std::ranges::all_of(values, &ValueChange::within_tolerance);
  return proven ? std::optional(false) : std::nullopt;
}

std::vector<AxisChange> axis_changes(const FitResult& old_result, const FitResult& new_result,
                                     const std::vector<char>& letters) {
  std::vector<AxisChange> changes;
  for (const char letter : letters) {
    const AxisResult& before = *std::ranges::find(old_result.axes, letter, &AxisResult::letter);
    const AxisResult& after = *std::ranges::find(new_result.axes, letter, &AxisResult::letter);
    const Eigen::Vector3d normal = before.along
                                       ? Eigen::Vector3d::Unit(static_cast<int>(*before.along))
                                       : Eigen::Vector3d(before.nominal.direction);
    const Eigen::Vector3d point =
        pierce_plane(after.line, normal, normal.dot(before.line.point_mm));
    changes.push_back({letter, after.side, before.line, {point, after.line.direction}});
  }
  return changes;
}

/// Artefacts of the same name that stand elsewhere by more than both surveys can be wrong.
std::vector<ArtefactShift> artefact_shifts(const FitResult& old_result,
                                           const FitResult& new_result) {
  std::vector<ArtefactShift> shifts;
  for (const ArtefactResult& artefact : new_result.artefacts) {
    const auto before =
        std::ranges::find(old_result.artefacts, artefact.name, &ArtefactResult::name);
    if (before == old_result.artefacts.end()) continue;
    ArtefactShift shift{artefact.name, Eigen::Vector3d::Zero()};
    bool seen = false;
    for (std::size_t k = 0; k < 3; ++k) {
      const double change = artefact.position[k].value - before->position[k].value;
      const double U95 = artefact.position[k].U95_absolute + before->position[k].U95_absolute;
      if (!std::isfinite(change) || !std::isfinite(U95)) continue;
      shift.shift_mm[static_cast<Eigen::Index>(k)] = change;
      seen = seen || std::abs(change) > U95;
    }
    if (seen) shifts.push_back(shift);
  }
  return shifts;
}

}  // namespace

Expected<Comparison> compare(const FitResult& old_result, const FitResult& new_result,
                             const CompareOptions& options) {
  const auto pair = paired(old_result, new_result, options);
  if (!pair) return tl::make_unexpected(pair.error());
  Comparison comparison;
  comparison.machine_name = new_result.machine_name;
  comparison.old_started = old_result.started;
  comparison.simulated = old_result.simulated || new_result.simulated;
  comparison.new_started = new_result.started;
  comparison.notes = pair->notes;
  comparison.between_surveys_mm = pair->between_surveys_mm;
  comparison.test = congruency_beside(pair->change, pair->covariance, pair->dof, pair->bias.gains,
                                      pair->bias.half_widths);
  comparison.values = value_changes(*pair, comparison.test, options);
  comparison.axes = axis_changes(old_result, new_result, pair->axes);
  comparison.moved = overall(comparison.test, comparison.values);
  comparison.artefacts = artefact_shifts(old_result, new_result);
  if (comparison.test.rejects(moved_level)) {
    comparison.explanations =
        explanations_of(new_result, *pair, old_result.fit.readings + new_result.fit.readings);
  }
  return comparison;
}

}  // namespace pivotrace

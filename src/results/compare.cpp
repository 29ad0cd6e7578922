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

/// Biases that are drawn as well make the same share of cases need more: by so many of the noise's sigmas.
/// The share p = 0.8 of an even spread +-w lies above -(2 p - 1) w, of a normal one of the same variance above
/// -z_p w / sqrt(3): the even one counts.
double more_for_bias(double variance) {
  const double z = normal_quantile(visible_power);
  const double even = (2.0 * visible_power - 1.0) * std::sqrt(3.0);
  return std::sqrt(z * z + even * even * variance) - z;
}

/// Whether a change of value i alone opens the survey-wide test often enough.
bool shows_in_survey(const BiasGrant& grant, const Eigen::VectorXd& change, double wanted) {
  const BiasGrant::Left left = grant.left_of(change);
  return std::sqrt(left.squared_length) >= std::sqrt(wanted) + more_for_bias(left.bias_variance);
}

/// The change of value i alone at which it does: what is left grows with the change.
double visible_in_survey(const EpochPair& pair, const BiasGrant& grant, Eigen::Index i,
                         double wanted) {
  const Eigen::VectorXd unit = Eigen::VectorXd::Unit(pair.size(), i);
  double low = std::sqrt(wanted / unit.dot(pair.covariance.ldlt().solve(unit)));
  if (!(pair.bias.half_widths.size() > 0) || !(pair.bias.half_widths.maxCoeff() > 0.0)) return low;
  double high = low;
  constexpr int most_doublings = 40;
  for (int k = 0; k < most_doublings && !shows_in_survey(grant, high * unit, wanted); ++k) {
    low = high;
    high *= 2.0;
  }
  constexpr int halvings = 14;  // to 1e-4 of the change
  for (int k = 0; k < halvings && high > low; ++k) {
    const double middle = 0.5 * (low + high);
    (shows_in_survey(grant, middle * unit, wanted) ? high : low) = middle;
  }
  return high;
}

/// The change of value i alone that is beyond its own U95 often enough.
double visible_by_itself(const EpochPair& pair, Eigen::Index i, double B) {
  const double u = std::sqrt(pair.covariance(i, i));
  const double noncentrality =
      f_test_noncentrality(value_level, visible_power, 1.0, pair.dofs[static_cast<std::size_t>(i)]);
  return (std::sqrt(noncentrality) + more_for_bias(B * B / (3.0 * u * u))) * u + B;
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
  value.U95 = bounded_expanded(value.u, value.dof, value.B);
  value.moved = opened && std::abs(value.change) > value.U95;
  return value;
}

void apply_tolerance(const CompareOptions& options, ValueChange& value) {
  value.tolerance = room_from(value.name, value.old_value, options.rooms, options.within_mm);
  if (!value.tolerance) return;
  value.within_tolerance = equivalence(value.change, value.u, value.dof, value.tolerance->low,
                                       value.tolerance->high, value.B)
                               .within;
}

std::vector<ValueChange> value_changes(const EpochPair& pair, const Congruency& test,
                                       const CompareOptions& options) {
  const double noncentrality =
      f_test_noncentrality(moved_level, visible_power, static_cast<double>(test.h), pair.dof);
  const Eigen::VectorXd B = pair.bias.largest_shifts();
  const BiasGrant grant(pair.covariance, pair.bias.gains, pair.bias.half_widths);
  std::vector<ValueChange> values;
  for (Eigen::Index i = 0; i < pair.size(); ++i) {
    ValueChange value = value_change(pair, i, B[i], test.rejects(moved_level));
    value.smallest_seen = std::max(visible_in_survey(pair, grant, i, noncentrality),
                                   visible_by_itself(pair, i, B[i]));
    apply_tolerance(options, value);
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

Expected<SurveyComparison> compare(const FitResult& old_result, const FitResult& new_result,
                                   const CompareOptions& options) {
  const auto pair = paired(old_result, new_result, options);
  if (!pair) return tl::make_unexpected(pair.error());
  SurveyComparison comparison;
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

#include "pivotrace/results/compare.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/line.h"
#include "pivotrace/results/statistics.h"
#include "results/epoch_pair.h"
#include "results/explanations.h"
#include "results/in_common.h"
#include "results/visible_changes.h"

namespace pivotrace {

namespace {

/// A value counts as moved once the survey-wide test opened and it is beyond its U95.
constexpr double value_level = 0.05;

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

void fill_smallest_seen(const EpochPair& pair, std::vector<ValueChange>& values) {
  Eigen::VectorXd U95(pair.size());
  for (Eigen::Index i = 0; i < pair.size(); ++i) U95[i] = values[static_cast<std::size_t>(i)].U95;
  const VisibleChanges visible(pair, U95);
  for (Eigen::Index i = 0; i < pair.size(); ++i) {
    values[static_cast<std::size_t>(i)].smallest_seen = visible.smallest(i);
  }
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
  const Eigen::VectorXd B = pair.bias.largest_shifts();
  std::vector<ValueChange> values;
  for (Eigen::Index i = 0; i < pair.size(); ++i) {
    values.push_back(value_change(pair, i, B[i], test.rejects(moved_level)));
    apply_tolerance(options, values.back());
  }
  if (options.smallest_seen) fill_smallest_seen(pair, values);
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
  comparison.test = congruency_beside(pair->change, pair->covariance, pair->reference,
                                      pair->bias.gains, pair->bias.half_widths);
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

Expected<std::vector<ValueChange>> changes_that_would_show(const FitResult& old_result,
                                                           const FitResult& planned,
                                                           const CompareOptions& options,
                                                           bool old_too) {
  Problems problems = not_comparable(old_result, planned, options);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  auto pair = paired_with_plan(old_result, planned, options, old_too);
  if (!pair) return tl::make_unexpected(pair.error());
  pair->change.setZero();
  CompareOptions with_sizes = options;
  with_sizes.smallest_seen = true;
  return value_changes(*pair, Congruency(), with_sizes);
}

}  // namespace pivotrace

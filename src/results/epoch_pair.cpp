#include "results/epoch_pair.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

#include "base/iso_time.h"
#include "pivotrace/results/statistics.h"
#include "results/line_motion.h"

namespace pivotrace {

namespace {

using Kind = CompareNote::Kind;

/// Planes closer than this are one plane.
constexpr double same_plane_mm = 1e-6;

std::string input_hash(const FitResult& result, const std::string& role) {
  const auto input = std::ranges::find(result.inputs, role, &InputFile::role);
  return input == result.inputs.end() ? std::string() : input->sha256;
}

bool same_input(const FitResult& a, const FitResult& b, const std::string& role) {
  const std::string hash = input_hash(a, role);
  return !hash.empty() && hash == input_hash(b, role);
}

/// A hash that is missing says nothing.
bool other_input(const FitResult& a, const FitResult& b, const std::string& role) {
  const std::string hash = input_hash(a, role);
  const std::string other = input_hash(b, role);
  return !hash.empty() && !other.empty() && hash != other;
}

/// Positive: the new one is the newer; absent where a date is missing.
std::optional<double> seconds_between(const FitResult& old_result, const FitResult& new_result) {
  const auto before = seconds_from_iso(old_result.started);
  const auto after = seconds_from_iso(new_result.started);
  if (!before || !after) return std::nullopt;
  return *after - *before;
}

/// Largest shift of all axes by temperature and re-clamping, per coordinate.
struct BetweenSurveys {
  double half_width_mm = 0.0;
  bool stated = false;
};

/// What the user says goes before what the results hold, the larger of both; then what is assumed.
BetweenSurveys between_surveys(const FitResult& old_result, const FitResult& new_result,
                               const CompareOptions& options) {
  BetweenSurveys between{options.between_surveys_mm, options.between_surveys_stated};
  if (!between.stated) {
    double largest = -1.0;
    bool stated = true;
    for (const FitResult* result : {&old_result, &new_result}) {
      for (const BoundResult& bound : result->bounds) {
        if (bound.kind != BoundKind::between_surveys) continue;
        stated = stated && bound.source == BoundSource::stated;
        largest = std::max(largest, bound.half_width);
      }
    }
    if (largest >= 0.0) between = {largest, stated};
  }
  between.half_width_mm *= times_between_surveys(old_result.conditions, new_result.conditions);
  return between;
}

Problem not_usable(const char* which) {
  return {ProblemNumber::not_usable,
          std::string("the ") + which + " result says of itself that it is not usable",
          {},
          "see its findings; measure again"};
}

}  // namespace

Problems not_comparable(const FitResult& old_result, const FitResult& planned,
                        const CompareOptions& options) {
  Problems problems;
  if (!old_result.usable) problems.push_back(not_usable("old"));
  if (old_result.machine_name != planned.machine_name && !options.allow_other_machine) {
    problems.push_back({ProblemNumber::other_machine,
                        "the results are of two machines, \"" + old_result.machine_name +
                            "\" and \"" + planned.machine_name + "\"",
                        {},
                        "give two results of one machine, or --allow-other-machine if it was only "
                        "renamed"});
  }
  for (Problem& problem : refused_conditions(old_result.conditions, planned.conditions)) {
    problems.push_back(std::move(problem));
  }
  return problems;
}

namespace {

Problems reasons_to_refuse(const FitResult& old_result, const FitResult& new_result,
                           const CompareOptions& options) {
  Problems problems = not_comparable(old_result, new_result, options);
  if (!new_result.usable) problems.push_back(not_usable("new"));
  if (same_input(old_result, new_result, "touches")) {
    problems.push_back({ProblemNumber::bad_argument,
                        "both results come from the same touch record: nothing can have moved",
                        {},
                        "give the result of the earlier survey first, of the later one second"});
  }
  const auto seconds = seconds_between(old_result, new_result);
  if (seconds && *seconds < 0.0) {
    problems.push_back({ProblemNumber::bad_argument,
                        "the result given as the new one was measured first (" +
                            new_result.started + ", the other " + old_result.started + ")",
                        {},
                        "swap them: the earlier result comes first"});
  }
  return problems;
}

bool has_axis(const FitResult& result, char letter) {
  const auto axis = std::ranges::find(result.axes, letter, &AxisResult::letter);
  return axis != result.axes.end() && axis->estimated;
}

const AxisResult& axis_of(const FitResult& result, char letter) {
  return *std::ranges::find(result.axes, letter, &AxisResult::letter);
}

bool same_plane(const AxisResult& a, const AxisResult& b) {
  return a.along == b.along && std::abs(a.quoted_at_mm - b.quoted_at_mm) <= same_plane_mm;
}

void note_conditions(const FitResult& old_result, const FitResult& new_result,
                     const BetweenSurveys& between, std::vector<CompareNote>& notes) {
  for (const FitResult* result : {&old_result, &new_result}) {
    if (!result->gains.terms.empty()) continue;
    notes.push_back({Kind::gains_missing, '\0'});
    break;
  }
  for (const CompareNote& note :
       notes_on_conditions(old_result.conditions, new_result.conditions)) {
    notes.push_back(note);
  }
  if (old_result.simulated != new_result.simulated) {
    notes.push_back({Kind::simulated_beside_measured, '\0'});
  } else if (old_result.simulated) {
    notes.push_back({Kind::simulated, '\0'});
  }
  if (!between.stated) notes.push_back({Kind::between_assumed, '\0'});
  if (other_input(old_result, new_result, "machine")) {
    notes.push_back({Kind::machine_file_differs, '\0'});
  }
  if (!seconds_between(old_result, new_result)) notes.push_back({Kind::no_dates, '\0'});
  if (old_result.machine_name != new_result.machine_name) {
    notes.push_back({Kind::other_machine, '\0'});
  }
}

/// Axes both surveys turned; the others are noted.
std::vector<char> common_axes(const FitResult& old_result, const FitResult& new_result,
                              std::vector<CompareNote>& notes) {
  std::vector<char> letters;
  for (const AxisResult& axis : new_result.axes) {
    if (!axis.estimated) continue;
    if (has_axis(old_result, axis.letter)) {
      letters.push_back(axis.letter);
    } else {
      notes.push_back({Kind::only_new, axis.letter});
    }
  }
  for (const AxisResult& axis : old_result.axes) {
    if (axis.estimated && !has_axis(new_result, axis.letter)) {
      notes.push_back({Kind::only_old, axis.letter});
    }
  }
  return letters;
}

std::vector<ValueName> common_names(const FitResult& old_result, const FitResult& new_result,
                                    const std::vector<char>& axes,
                                    std::vector<CompareNote>& notes) {
  std::vector<ValueName> names;
  for (const char letter : axes) {
    const bool plane = same_plane(axis_of(old_result, letter), axis_of(new_result, letter));
    if (!plane) notes.push_back({Kind::other_plane, letter});
    for (const ValueName& name : new_result.covariance.names) {
      if (name.axis != letter || (name.kind == ValueKind::centre && !plane)) continue;
      if (std::ranges::find(old_result.covariance.names, name) ==
          old_result.covariance.names.end()) {
        continue;
      }
      if (find_estimate(old_result, name) && find_estimate(new_result, name)) {
        names.push_back(name);
      }
    }
  }
  return names;
}

double least_dof(const FitResult& result, const std::vector<ValueName>& names) {
  double least = std::numeric_limits<double>::infinity();
  for (const ValueName& name : names) {
    const double dof = find_estimate(result, name)->dof;
    if (dof > 0.0) least = std::min(least, dof);
  }
  return least;
}

/// Satterthwaite's formula (JCGM 100:2008, G.2b) for variances that are wrong together: both surveys' sigmas
/// lean on the same stated ones, so their errors add up instead of averaging,
///   dof = (sum of variances / sum of variances / sqrt(dof))^2.
double joint_dof(const std::vector<double>& variances, const std::vector<double>& dofs) {
  double whole = 0.0;
  double uncertain = 0.0;
  for (std::size_t k = 0; k < variances.size(); ++k) {
    const double variance = std::max(0.0, variances[k]);
    whole += variance;
    uncertain += variance / std::sqrt(dofs[k]);
  }
  return uncertain > 0.0 ? whole * whole / (uncertain * uncertain)
                         : std::numeric_limits<double>::infinity();
}

/// Satterthwaite's formula for variances that are independent.
double separate_dof(const std::vector<double>& variances, const std::vector<double>& dofs) {
  std::vector<double> contributions;
  for (const double variance : variances) {
    contributions.push_back(std::sqrt(std::max(0.0, variance)));
  }
  return effective_dof(contributions, dofs);
}

/// Parts of the covariance of a change, and how certain each is.
std::vector<std::pair<const Eigen::MatrixXd*, double>> parts_with_dofs(const ChangeErrors& errors,
                                                                       double old_dof,
                                                                       double new_dof) {
  return {{&errors.old_part, old_dof},
          {&errors.new_part, new_dof},
          {&errors.shared_random, std::min(old_dof, new_dof)},
          {&errors.stated, std::numeric_limits<double>::infinity()}};
}

void fill_dofs(const FitResult& old_result, const FitResult& new_result, const ChangeErrors& errors,
               EpochPair& pair) {
  for (Eigen::Index i = 0; i < pair.size(); ++i) {
    const ValueName& name = pair.names[static_cast<std::size_t>(i)];
    std::vector<double> variances;
    std::vector<double> dofs;
    for (const auto& [part, dof] : parts_with_dofs(errors, find_estimate(old_result, name)->dof,
                                                   find_estimate(new_result, name)->dof)) {
      variances.push_back((*part)(i, i));
      dofs.push_back(dof);
    }
    pair.dofs.push_back(joint_dof(variances, dofs));
  }
}

/// Of results that do not tell their groups: the mean share of each part in all directions, and of each
/// survey the least dof of its values.
ScaledF reference_without_groups(const FitResult& old_result, const FitResult& new_result,
                                 const ChangeErrors& errors, const EpochPair& pair) {
  const auto solver = pair.covariance.ldlt();
  std::vector<double> shares;
  std::vector<double> dofs;
  for (const auto& [part, dof] : parts_with_dofs(errors, least_dof(old_result, pair.names),
                                                 least_dof(new_result, pair.names))) {
    shares.push_back(solver.solve(*part).trace());
    dofs.push_back(dof);
  }
  return separate_dof(shares, dofs);
}

}  // namespace

const Estimate* find_estimate(const FitResult& result, const ValueName& name) {
  for (const AxisResult& axis : result.axes) {
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      const auto found = std::ranges::find(*list, name, &NamedEstimate::name);
      if (found != list->end()) return &found->estimate;
    }
    if (axis.zero && name == axis_value(axis.letter, ValueKind::zero)) return &*axis.zero;
  }
  return nullptr;
}

namespace {

double variance_of(const std::vector<std::pair<char, double>>& sigmas, char letter) {
  const auto own = std::ranges::find(sigmas, letter, &std::pair<char, double>::first);
  return own == sigmas.end() ? not_run : own->second * own->second;
}

/// Of one source, as the fit took it.
double variance_of(const FitSummary& fit, const BudgetSource& source) {
  switch (source.kind) {
    case SourceKind::touch_noise: return fit.touch_sigma_mm * fit.touch_sigma_mm;
    case SourceKind::station: return fit.station_sigma_mm * fit.station_sigma_mm;
    case SourceKind::index: return variance_of(fit.index_sigma_rad, source.axis);
    case SourceKind::index_repeat: return variance_of(fit.index_repeat_sigma_rad, source.axis);
    case SourceKind::motion: return variance_of(fit.axis_motion_sigma_mm, source.axis);
    default: return not_run;
  }
}

ToBeFound to_be_found(const FitResult& old_result, const FitResult& planned, bool old_too) {
  const std::vector<VarianceGroup>& before = old_result.covariance.groups;
  const std::vector<VarianceGroup>& after = planned.covariance.groups;
  ToBeFound found;
  found.old_too = old_too;
  found.known_ratio.setOnes(static_cast<Eigen::Index>(after.size()));
  found.stated_dof.resize(found.known_ratio.size());
  for (std::size_t g = 0; g < after.size(); ++g) {
    const auto at = static_cast<Eigen::Index>(g);
    const auto same = std::ranges::find(before, after[g].source, &VarianceGroup::source);
    found.same_before.push_back(same == before.end() ? -1 : same - before.begin());
    found.stated_dof[at] = after[g].stated_dof;
    if (old_too || same == before.end()) continue;
    const double ratio =
        variance_of(old_result.fit, after[g].source) / variance_of(planned.fit, after[g].source);
    if (std::isfinite(ratio) && ratio > 0.0) found.known_ratio[at] = ratio;
  }
  return found;
}

Expected<EpochPair> pair_of(const FitResult& old_result, const FitResult& new_result,
                            const CompareOptions& options) {
  EpochPair pair;
  const BetweenSurveys between = between_surveys(old_result, new_result, options);
  pair.between_surveys_mm = between.half_width_mm;
  note_conditions(old_result, new_result, between, pair.notes);
  pair.axes = common_axes(old_result, new_result, pair.notes);
  pair.names = common_names(old_result, new_result, pair.axes, pair.notes);
  if (pair.names.empty()) {
    return failure(
        {ProblemNumber::no_such_value,
         "the two results have no value in common that could be compared",
         {},
         "survey the same axis with the same quoted plane (quoted_at in the machine file)"});
  }
  const auto n = static_cast<Eigen::Index>(pair.names.size());
  pair.old_values.resize(n);
  pair.change.resize(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const ValueName& name = pair.names[static_cast<std::size_t>(i)];
    pair.old_values[i] = find_estimate(old_result, name)->value;
    pair.change[i] = find_estimate(new_result, name)->value - pair.old_values[i];
  }
  ChangeErrors errors = change_errors(old_result, new_result, pair.names);
  pair.covariance = errors.covariance();
  pair.bias = std::move(errors.bias);
  pair.bias.add(
      motion_gains(new_result, pair.names, pair.axes, Eigen::Vector3d::Zero()).leftCols<3>(),
      Eigen::Vector3d::Constant(between.half_width_mm), false);
  fill_dofs(old_result, new_result, errors, pair);
  pair.uncertain_parts = std::move(errors.uncertain_parts);
  pair.part_errors = std::move(errors.part_errors);
  pair.reference = pair.uncertain_parts.empty()
                       ? reference_without_groups(old_result, new_result, errors, pair)
                       : scaled_f(pair.covariance, pair.uncertain_parts, pair.part_errors);
  return pair;
}

}  // namespace

Expected<EpochPair> paired(const FitResult& old_result, const FitResult& new_result,
                           const CompareOptions& options) {
  Problems problems = reasons_to_refuse(old_result, new_result, options);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return pair_of(old_result, new_result, options);
}

Expected<EpochPair> paired_with_plan(const FitResult& old_result, const FitResult& planned,
                                     const CompareOptions& options, bool old_too) {
  Expected<EpochPair> pair = pair_of(old_result, planned, options);
  if (pair && !pair->uncertain_parts.empty()) {
    pair->to_be_found = to_be_found(old_result, planned, old_too);
  }
  return pair;
}

}  // namespace pivotrace

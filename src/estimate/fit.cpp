#include "pivotrace/estimate/fit.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <unordered_map>

#include "estimate/findings.h"
#include "estimate/fitted_survey.h"
#include "estimate/linearisation.h"
#include "estimate/observability.h"
#include "estimate/optional_unknowns.h"
#include "estimate/outputs.h"
#include "estimate/scatter_test.h"
#include "estimate/screening.h"
#include "estimate/start.h"
#include "estimate/survey_gains.h"
#include "estimate/touch_tests.h"
#include "estimate/turn_sense.h"
#include "estimate/uncertainty.h"
#include "estimate/variance_components.h"
#include "pivotrace/estimate/predict.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

double weighed_redundancy(const Adjusted& adjusted) {
  return static_cast<double>(adjusted.redundancy);
}

/// chi2 of a survey that fits its sigmas is shown beside the value that is exceeded once in a thousand.
constexpr double global_test_level = 0.999;

/// True when the scatter is larger than the stated sigmas allow, uncertain as they are themselves. The
/// level is a part of the 2 in 100 clean surveys that may show anything.
bool scatter_too_large(const Solved& solved) {
  constexpr double level = 0.008;
  return solved.as_stated.redundancy > 0 && chance_of_scatter(solved.chosen) < level;
}

FitSummary summary(const Model& model, const Adjusted& adjusted, const ChosenVariances& chosen,
                   const LeastSquaresMinimum& minimum) {
  FitSummary fit;
  fit.touches = static_cast<int>(model.survey().touches.size());
  fit.readings = model.total_readings();
  fit.unknowns = model.layout().unknowns;
  fit.dof = weighed_redundancy(adjusted);
  fit.chi2 = adjusted.chi2;
  if (adjusted.redundancy > 0) {
    fit.sigma0 = std::sqrt(adjusted.chi2 / fit.dof);
    fit.chi2_limit = chi_squared_quantile(global_test_level, fit.dof);
  }
  fit.condition = adjusted.information.condition;
  fit.touch_sigma_mm = chosen.random.touch_sigma_mm;
  fit.station_sigma_mm = chosen.random.station_sigma_mm;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    fit.index_sigma_rad.emplace_back(model.machine().rotary[axis].letter,
                                     chosen.random.index_sigma_rad[axis]);
    fit.index_repeat_sigma_rad.emplace_back(model.machine().rotary[axis].letter,
                                            chosen.random.index_repeat_sigma_rad[axis]);
    fit.axis_motion_sigma_mm.emplace_back(model.machine().rotary[axis].letter,
                                          chosen.random.axis_motion_sigma_mm[axis]);
  }
  fit.sigma_source = chosen.source;
  fit.iterations = minimum.iterations;
  fit.solver_seconds = minimum.seconds;
  return fit;
}

JointCovariance joint_covariance(const std::vector<Output>& outputs,
                                 const Uncertainty& uncertainty) {
  JointCovariance joint;
  Eigen::MatrixXd by_unknown(outputs.size(), uncertainty.absolute().rows());
  for (std::size_t k = 0; k < outputs.size(); ++k) {
    joint.names.push_back(outputs[k].name);
    by_unknown.row(k) = outputs[k].by_unknown.transpose();
  }
  joint.repeatable = by_unknown * uncertainty.repeatable() * by_unknown.transpose();
  joint.absolute = by_unknown * uncertainty.absolute() * by_unknown.transpose();
  joint.groups = uncertainty.groups(by_unknown);
  joint.group_errors = uncertainty.group_errors();
  for (std::size_t k = 0; k < outputs.size(); ++k) {
    joint.absolute(k, k) += outputs[k].further_u * outputs[k].further_u;
  }
  return joint;
}

std::vector<BudgetLine> whole_budget(const std::vector<Output>& outputs,
                                     const Uncertainty& uncertainty) {
  std::vector<BudgetLine> budget;
  for (const Output& output : outputs) {
    const auto lines = uncertainty.budget(output.name, output.by_unknown, output.further_u);
    budget.insert(budget.end(), lines.begin(), lines.end());
  }
  return budget;
}

std::vector<BoundResult> bound_results(const Model& model, const std::vector<Output>& outputs,
                                       const Uncertainty& uncertainty) {
  std::vector<BoundResult> results;
  for (const BoundTerm& term : uncertainty.bounds()) {
    const int axis = term.bound.axis;
    const char letter = axis < 0 ? '\0' : model.machine().rotary[axis].letter;
    results.push_back({term.bound.kind, letter, term.bound.half_width, term.bound.source, {}});
  }
  for (const Output& output : outputs) {
    const std::vector<double> shifts = uncertainty.shifts(output.by_unknown);
    for (std::size_t k = 0; k < shifts.size(); ++k) {
      results[k].shifts.emplace_back(output.name, shifts[k]);
    }
  }
  return results;
}

FitResult assemble(const Model& model, const Adjusted& adjusted, const ChosenVariances& chosen,
                   const Uncertainty& uncertainty, const LeastSquaresMinimum& minimum) {
  FitResult result;
  result.machine_name = model.machine().name;
  result.inch = model.machine().inch;
  result.started = model.survey().started;
  result.simulated = model.survey().simulated;
  result.axes = axis_results(model, adjusted, uncertainty);
  result.axis_pairs = axis_pair_results(model, adjusted, uncertainty);
  result.artefacts = artefact_results(model, adjusted, uncertainty);
  result.fit = summary(model, adjusted, chosen, minimum);
  result.stations = station_results(model, adjusted);
  fill_deviation_ranges(result.stations, result.axes);
  result.touches = touch_results(model, adjusted, chosen.random);
  const std::vector<Output> outputs = stated_outputs(model, adjusted.unknowns);
  result.budget = whole_budget(outputs, uncertainty);
  result.bounds = bound_results(model, outputs, uncertainty);
  result.covariance = joint_covariance(outputs, uncertainty);
  result.gains = survey_gains(model, adjusted, outputs, chosen.random,
                              common_terms(model.machine()), uncertainty.bounds());
  return result;
}

}  // namespace

Problems FitOptions::validate() const {
  Problems problems;
  const auto require = [&](bool good, const char* what) {
    if (!good) problems.push_back({ProblemNumber::bad_options, what, {}, "give a positive number"});
  };
  require(location_limit_mm > 0.0, "the largest useful U95 of a location must be positive");
  require(orientation_limit_rad > 0.0, "the largest useful U95 of an orientation must be positive");
  require(max_iterations > 0, "the number of steps must be positive");
  if (!has_solver(solver)) {
    problems.push_back({ProblemNumber::bad_options,
                        "this build has no such solver",
                        {},
                        "take default_solver(), or build with PIVOTRACE_CERES=ON"});
  }
  return problems;
}

namespace {

TouchResult excluded_touch(const Machine& machine, const Survey& survey, int index,
                           const Linearisation& at, const Suspect* suspect) {
  const Touch& touch = survey.touches[index];
  const Artefact& artefact = machine.artefacts[touch.artefact];
  const MachineState& state = at.state();
  const Eigen::Vector3d carried =
      at.stylus_in_carried(touch, survey.stations[touch.station].angles_rad);
  const ArtefactPlace& place = state.artefacts[touch.artefact];
  TouchResult result;
  result.label = touch.label;
  result.station = survey.stations[touch.station].label;
  result.artefact = artefact.name;
  result.line = touch.line;
  result.excluded = true;
  result.redundancy = 1.0;
  result.residual_mm = touch.kind == TouchKind::centre
                           ? (carried - place.point_mm).norm()
                           : gap_mm(artefact.kind, place, state.stylus_radius_mm, carried);
  if (suspect != nullptr) {
    result.w = std::copysign(suspect->w, result.residual_mm);
    result.detectable_mm = suspect->limit_mm;
  }
  return result;
}

/// Puts what was left out back into the lists of touches and stations, marked.
void show_excluded(const Machine& machine, const Survey& survey, const FittedSurvey& fitted,
                   const Screening& screening, FitResult& result) {
  const Linearisation at(*fitted.model, fitted.solved.adjusted.unknowns);
  std::vector<TouchResult> touches(survey.touches.size());
  for (std::size_t k = 0; k < fitted.part->touch_of.size(); ++k) {
    touches[fitted.part->touch_of[k]] = result.touches[k];
  }
  std::vector<const Suspect*> why(survey.touches.size(), nullptr);
  for (const Suspect& suspect : screening.exclusions) {
    for (const int touch : suspect.touches) why[touch] = &suspect;
  }
  for (std::size_t t = 0; t < touches.size(); ++t) {
    if (!screening.excluded[t]) continue;
    touches[t] = excluded_touch(machine, survey, static_cast<int>(t), at, why[t]);
    ++result.fit.excluded;
  }
  result.touches = std::move(touches);
  result.fit.touches = static_cast<int>(survey.touches.size());
  std::unordered_map<std::string, int> last_with_label;
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    last_with_label[survey.stations[s].label] = static_cast<int>(s);
  }
  for (const Suspect& suspect : screening.exclusions) {
    if (!suspect.whole_station) continue;
    const Station& stay = survey.stations[suspect.station];
    StationResult station;
    station.label = stay.label;
    station.angles_rad = stay.angles_rad;
    station.touches = stay.touch_count;
    station.artefact = machine.artefacts[survey.touches[stay.first_touch].artefact].name;
    station.excluded = true;
    station.statistic = suspect.w;
    const auto later = [&](const StationResult& other) {
      const auto last = last_with_label.find(other.label);
      return last != last_with_label.end() && last->second > suspect.station;
    };
    result.stations.insert(std::find_if(result.stations.begin(), result.stations.end(), later),
                           station);
  }
}

std::vector<EffectResult> effect_results(const Model& model, const Adjusted& adjusted,
                                         const Uncertainty& uncertainty) {
  std::vector<EffectResult> results;
  const Layout& layout = model.layout();
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const int unknown = layout.effects_first + static_cast<int>(k);
    Eigen::VectorXd by_unknown = Eigen::VectorXd::Zero(layout.unknowns);
    by_unknown[unknown] = 1.0;
    results.push_back({name_of(model.machine(), layout.effects[k]),
                       uncertainty.estimate(adjusted.unknowns[unknown], by_unknown)});
  }
  return results;
}

/// A solved and screened case as a result, with its findings.
Expected<FitResult> stated_result(const Machine& machine, const Survey& survey,
                                  const FittedSurvey& fitted, const Screening& screening,
                                  const SenseVerdict& sense, const FitOptions& options) {
  const Model& model = *fitted.model;
  const Solved& solved = fitted.solved;
  std::vector<BoundTerm> bounds = bound_terms(machine);
  shrink_to_found(model, solved.chosen.random, solved.adjusted, bounds);
  const Uncertainty uncertainty(model, solved.adjusted, solved.chosen, common_terms(machine),
                                bounds);
  const bool scattered = scatter_too_large(solved);
  FitResult result = assemble(model, solved.adjusted, solved.chosen, uncertainty, solved.minimum);
  result.effects = effect_results(model, solved.adjusted, uncertainty);
  mark_turn_sense(sense, result);
  const FitRefusals weak = weak_outputs(model, solved.adjusted, uncertainty,
                                        {options.location_limit_mm, options.orientation_limit_rad});
  // Under the wrong sense every other complaint is a consequence of it.
  if (!weak.empty() && sense.wrong()) return refused({sense.as_refusal(machine)}, machine, survey);
  if (!weak.empty() && !scattered) return refused(weak, machine, survey);
  if (const FitRefusals curved = seen_by_curvature_only(model, solved.adjusted);
      !curved.empty() && !sense.wrong()) {
    return refused(curved, machine, survey);
  }
  const double times_stated =
      std::sqrt(solved.as_stated.chi2 / std::max(1, solved.as_stated.redundancy));
  result.findings =
      findings_of(FindingInputs{model, survey, solved.adjusted, stated_random_model(model),
                                solved.chosen, sense, screening, scattered, times_stated, result});
  for (const FitRefusal& refusal : weak) {
    result.findings.push_back({FindingCode::weakly_determined, Severity::error, refusal});
  }
  show_excluded(machine, survey, fitted, screening, result);
  result.usable = std::none_of(result.findings.begin(), result.findings.end(),
                               [](const Finding& f) { return f.severity == Severity::error; });
  return result;
}

Expected<FitResult> under_stated_senses(const Machine& machine, const Survey& survey,
                                        const FitOptions& options) {
  const Expected<ScreenedSurvey> found = screened_survey(machine, survey, options);
  if (!found) return tl::make_unexpected(found.error());
  return stated_result(machine, survey, found->fitted, found->screening, found->sense, options);
}

/// Refusals that a wrong sense together with bad touches can look like, or that do not name the latter.
bool may_hide_a_wrong_sense(const Problems& problems) {
  return std::all_of(problems.begin(), problems.end(), [](const Problem& problem) {
    return problem.number == ProblemNumber::weakly_determined ||
           problem.number == ProblemNumber::did_not_converge ||
           problem.number == ProblemNumber::wrong_turn_sense;
  });
}

}  // namespace

Expected<FitResult> fit_survey(const Machine& machine, const Survey& survey,
                               const FitOptions& options) {
  const Expected<FitResult> result = under_stated_senses(machine, survey, options);
  if (result || !options.screen || !may_hide_a_wrong_sense(result.error())) return result;
  const auto wrong = other_sense_with_rows_left_out(machine, survey, options);
  return wrong ? refused({*wrong}, machine, survey) : result;
}

Expected<FitResult> predict_fit(const Machine& machine, const Survey& planned,
                                const FitOptions& options) {
  const Model model(machine, planned);
  if (const FitRefusals refusals = refusals_before_solving(model); !refusals.empty()) {
    return refused(refusals, machine, planned);
  }
  const std::vector<CommonTerm> terms = common_terms(machine);
  const RandomModel random = stated_random_model(model);
  LeastSquaresMinimum at_nominal;
  at_nominal.unknowns = model.unknowns_from(nominal_state(machine));
  const Adjusted adjusted = adjusted_at(model, random, at_nominal.unknowns, asked_effects(machine));
  if (!adjusted.information.full_rank()) {
    return refused(unseen_directions(model, adjusted), machine, planned);
  }
  const ChosenVariances chosen = stated_variances(model, random, adjusted);
  std::vector<BoundTerm> bounds = bound_terms(machine);
  shrink_to_found(model, random, adjusted, bounds);
  const Uncertainty uncertainty(model, adjusted, chosen, terms, bounds);
  if (const FitRefusals weak = weak_outputs(
          model, adjusted, uncertainty, {options.location_limit_mm, options.orientation_limit_rad});
      !weak.empty()) {
    return refused(weak, machine, planned);
  }
  if (const FitRefusals curved = seen_by_curvature_only(model, adjusted); !curved.empty()) {
    return refused(curved, machine, planned);
  }
  FitResult result = assemble(model, adjusted, chosen, uncertainty, at_nominal);
  result.usable = false;  // a prediction holds no measured value
  return result;
}

}  // namespace pivotrace

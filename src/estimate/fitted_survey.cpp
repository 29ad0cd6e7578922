#include "estimate/fitted_survey.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "estimate/observability.h"
#include "estimate/optional_unknowns.h"
#include "estimate/start.h"
#include "estimate/uncertainty.h"

namespace pivotrace {

RandomModel stated_random_model(const Model& model) {
  const Machine& machine = model.machine();
  RandomModel random;
  // The form of a ball is another small error of every touch on it: of rectangular spread, so one
  // sigma is the deviation / sqrt(12). The worst ball touched stands for all.
  double form_sigma_mm = 0.0;
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    if (model.layout().place_first[a] < 0) continue;
    form_sigma_mm =
        std::max(form_sigma_mm, machine.artefacts[a].form_deviation_mm / std::sqrt(12.0));
  }
  // A touch sigma of zero would make every other error infinitely unlikely: 1 nm stands for it.
  random.touch_sigma_mm = std::max(std::hypot(machine.probe.touch_sigma_mm, form_sigma_mm), 1e-6);
  random.form_sigma_mm = form_sigma_mm;
  random.station_sigma_mm = machine.linear.station_sigma_mm;
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    const bool turned = model.axis_turned(static_cast<int>(axis));
    if (!turned) continue;
    random.index_sigma_rad[axis] = machine.rotary[axis].index_sigma_rad;
    random.index_repeat_sigma_rad[axis] = machine.rotary[axis].index_repeat_sigma_rad;
    random.axis_motion_sigma_mm[axis] = machine.rotary[axis].axis_motion_sigma_mm;
  }
  return random;
}

namespace {

/// What the touches do not determine, or hardly, seen from one point.
FitRefusals undetermined_at(const Model& model, const RandomModel& random,
                            const Eigen::VectorXd& unknowns, const FitOptions& options) {
  const Adjusted there = adjusted_at(model, random, unknowns, {});
  if (!there.information.full_rank()) return unseen_directions(model, there);
  const ChosenVariances stated = stated_variances(model, random, there);
  return weak_outputs(model, there, Uncertainty(model, there, stated, {}, {}),
                      {options.location_limit_mm, options.orientation_limit_rad});
}

/// Why a search did not settle: usually because the touches hardly determine something. Where it began
/// tells best what; how far it had strayed down its valley when the steps ran out is chance.
Problems why_unsettled(const Model& model, const RandomModel& random, const Eigen::VectorXd& start,
                       const LeastSquaresMinimum& minimum, const FitOptions& options) {
  for (const Eigen::VectorXd& point : {start, minimum.unknowns}) {
    const FitRefusals found = undetermined_at(model, random, point, options);
    if (!found.empty()) return as_problems(found, model.machine().inch, model.survey().file);
  }
  return {{ProblemNumber::did_not_converge,
           fmt::format("the adjustment did not settle within {} steps", options.max_iterations),
           {model.survey().file, 0, 0},
           "check that every touch names the right artefact and angles, and that the rough "
           "positions in the machine file are within a few centimetres"}};
}

/// minimise_gaps(), insisting on an answer.
Expected<LeastSquaresMinimum> settled(const Model& model, const RandomModel& random,
                                      const Eigen::VectorXd& start, const FitOptions& options) {
  Expected<LeastSquaresMinimum> minimum =
      minimise_gaps(model, random, start, {options.max_iterations, options.solver});
  if (!minimum || minimum->settled()) return minimum;
  return tl::make_unexpected(why_unsettled(model, random, start, *minimum, options));
}

Expected<Solved> solve(const Model& model, const Eigen::VectorXd& start,
                       const std::vector<Effect>& common, const FitOptions& options) {
  const RandomModel stated = stated_random_model(model);
  Expected<LeastSquaresMinimum> minimum = settled(model, stated, start, options);
  if (!minimum) return tl::make_unexpected(minimum.error());
  Solved solved;
  solved.minimum = *minimum;
  solved.adjusted = settled_at(model, stated, minimum->unknowns, common);
  if (!solved.adjusted.information.full_rank()) {
    return refused(unseen_directions(model, solved.adjusted), model.machine(), model.survey());
  }
  solved.as_stated = {solved.adjusted.chi2, solved.adjusted.redundancy};
  solved.chosen = choose_variances(model, stated, solved.adjusted);
  minimum = settled(model, solved.chosen.random, solved.minimum.unknowns, options);
  if (!minimum) return tl::make_unexpected(minimum.error());
  minimum->iterations += solved.minimum.iterations;
  minimum->seconds += solved.minimum.seconds;
  solved.minimum = *minimum;
  solved.adjusted = settled_at(model, solved.chosen.random, minimum->unknowns, common);
  return solved;
}

Expected<FittedSurvey> fitted_survey(const Machine& machine, const Survey& survey,
                                     const std::vector<bool>& excluded, const FitOptions& options) {
  FittedSurvey fitted;
  fitted.part = std::make_unique<SurveyPart>(survey_without(survey, excluded));
  const Model plain(machine, fitted.part->survey);
  fitted.model =
      std::make_unique<Model>(machine, fitted.part->survey, effects_for(plain, options.unknowns));
  const Model& model = *fitted.model;
  if (const FitRefusals refusals = refusals_before_solving(model); !refusals.empty()) {
    return refused(refusals, model.machine(), model.survey());
  }
  Expected<Solved> solved = solve(model, starting_unknowns(model), asked_effects(machine), options);
  if (!solved) return tl::make_unexpected(solved.error());
  fitted.solved = std::move(*solved);
  return fitted;
}

/// What it costs to explain the survey by what screening left out.
double cost_of(const Screening& screening, const Survey& survey, int readings) {
  const int candidates = static_cast<int>(survey.touches.size() + survey.stations.size());
  double cost = explanation_cost(screening.chi2, screening.redundancy);
  for (const Suspect& suspect : screening.exclusions) {
    const Touch& touch = survey.touches[suspect.touches.front()];
    const bool single = !suspect.whole_station && touch.kind != TouchKind::centre;
    cost += saying_cost(single ? 1 : 3, readings, candidates);
  }
  for (std::size_t k = 0; k < screening.inseparable.size(); ++k) {
    cost += saying_cost(1, readings, candidates);
  }
  return cost;
}

/// Whether touches and stations each say how large they are about as well as the file does.
bool says_sigmas_itself(const ChosenVariances& chosen) {
  return std::all_of(chosen.pooled.begin(), chosen.pooled.end(), [](const PooledGroup& group) {
    return group.group > station_group || group.redundancy >= group.stated_dof;
  });
}

/// Whether what was found differs enough from what is stated to make another suspect of a touch: a tenth
/// moves the limits of a search by a tenth, which is not worth a second one (common practice, no source).
bool differs_from_stated(const ChosenVariances& chosen) {
  constexpr double alike = 0.1;
  return std::any_of(chosen.pooled.begin(), chosen.pooled.end(), [](const PooledGroup& group) {
    return std::abs(group.sigma / group.stated_sigma - 1.0) > alike;
  });
}

/// The stated sigmas, larger where the survey shows more.
RandomModel never_below_stated(RandomModel stated, const ChosenVariances& chosen) {
  for (const PooledGroup& group : chosen.pooled) {
    const double larger = group.sigma / group.stated_sigma;
    if (larger > 1.0) stated.scale_variance(group.group, larger * larger);
  }
  return stated;
}

/// Screening twice: once under the stated sigmas, and once more under those found. Where the survey says
/// itself how large they are, because a cautious machine file hides small blunders; where it does not but
/// every suspect could be left out, because touches that only scatter as this machine does are good ones.
Screening screened(const Machine& machine, const Survey& survey, FittedSurvey& fitted,
                   const FitOptions& options, ScreeningOptions limits) {
  limits.minimiser.solver = options.solver;
  const auto pass = [&](const RandomModel& random) {
    return screen(machine, survey, fitted.model->turns(), random, fitted.model->layout().effects,
                  limits);
  };
  Screening screening = pass(stated_random_model(*fitted.model));
  // A creep or a knocked ball spoils many touches a little; leaving out the worst of them would hide
  // it. A blunder spoils one place, and every such story can take up a part of it. The cheaper
  // explanation counts.
  const std::optional<double> story = cost_of_systematic_story(
      *fitted.model, stated_random_model(*fitted.model), fitted.solved.adjusted.unknowns);
  const bool no_suspect = screening.exclusions.empty() && screening.inseparable.empty();
  if (story && (screening.given_up || no_suspect ||
                *story <= cost_of(screening, survey, fitted.model->total_readings()))) {
    Screening nobody_to_blame;
    nobody_to_blame.excluded.assign(survey.touches.size(), false);
    return nobody_to_blame;
  }
  const auto refit = [&] {
    Expected<FittedSurvey> again = fitted_survey(machine, survey, screening.excluded, options);
    if (again) fitted = std::move(*again);
    return again.has_value();
  };
  const bool none = std::none_of(screening.excluded.begin(), screening.excluded.end(),
                                 [](bool left_out) { return left_out; });
  if (!none && !refit()) {
    screening.excluded.assign(survey.touches.size(), false);
    screening.exclusions.clear();
    screening.given_up = true;
    return screening;
  }
  const ChosenVariances& chosen = fitted.solved.chosen;
  const bool says_itself = says_sigmas_itself(chosen);
  const bool bad_ones_gone = !none && screening.inseparable.empty();
  if (screening.given_up || !(says_itself || bad_ones_gone)) return screening;
  if (!differs_from_stated(chosen)) return screening;
  const RandomModel found =
      says_itself ? chosen.random : never_below_stated(stated_random_model(*fitted.model), chosen);
  Screening second = pass(found);
  if (second.given_up || second.excluded == screening.excluded) return screening;
  std::swap(screening, second);
  if (refit()) return screening;
  std::swap(screening, second);
  refit();
  return screening;
}

/// What the touches that are left say, as if the others had never been taken.
SenseVerdict sense_of(const FittedSurvey& fitted, const FitOptions& options) {
  const Model& model = *fitted.model;
  return check_turn_sense(model, stated_random_model(model),
                          AsStated{fitted.solved.adjusted.unknowns, fitted.solved.as_stated.chi2,
                                   fitted.solved.as_stated.redundancy},
                          options.solver);
}

/// The machine with the senses of some of its turned axes reversed.
Machine with_senses_reversed(const Machine& machine, const std::vector<int>& axes,
                             unsigned pattern) {
  Machine reversed = machine;
  for (std::size_t k = 0; k < axes.size(); ++k) {
    if ((pattern >> k) & 1U) {
      TurnSense& sense = reversed.rotary[axes[k]].positive_turn;
      sense = other(sense);
    }
  }
  return reversed;
}

bool confirms(const ScreenedSurvey& found) {
  const auto& answers = found.sense.answers;
  return !found.screening.given_up && std::all_of(answers.begin(), answers.end(), [](auto answer) {
    return answer == SenseVerdict::Answer::confirmed || answer == SenseVerdict::Answer::not_asked;
  });
}

}  // namespace

std::optional<fit_refusal::WrongTurnSense> other_sense_with_rows_left_out(
    const Machine& machine, const Survey& survey, const FitOptions& options) {
  const std::vector<int> axes = turned_axes(Model(machine, survey));
  // Nothing is taken from this fit but the advice to look: two rows of six may be left out of it.
  ScreeningOptions generous;
  generous.largest_share = 0.34;
  for (unsigned pattern = 1; pattern < (1U << axes.size()); ++pattern) {
    const auto found =
        screened_survey(with_senses_reversed(machine, axes, pattern), survey, options, generous);
    if (!found || !confirms(*found)) continue;
    fit_refusal::WrongTurnSense wrong;
    for (std::size_t k = 0; k < axes.size(); ++k) {
      if ((pattern >> k) & 1U) wrong.axes.push_back(machine.rotary[axes[k]].letter);
    }
    wrong.rms_as_stated_mm = found->sense.rms_if_turned_mm;
    wrong.rms_if_turned_mm = found->sense.rms_as_stated_mm;
    for (std::size_t t = 0; t < survey.touches.size(); ++t) {
      if (found->screening.excluded[t]) wrong.rows_off.push_back(survey.touches[t].label);
    }
    return wrong;
  }
  return std::nullopt;
}

Expected<ScreenedSurvey> screened_survey(const Machine& machine, const Survey& survey,
                                         const FitOptions& options, ScreeningOptions limits) {
  if (Problems problems = options.validate(); !problems.empty()) {
    return tl::make_unexpected(std::move(problems));
  }
  const Model whole(machine, survey);
  if (const FitRefusals refusals = refusals_before_solving(whole); !refusals.empty()) {
    return refused(refusals, machine, survey);
  }
  ScreenedSurvey result;
  result.screening.excluded.assign(survey.touches.size(), false);
  Expected<FittedSurvey> fitted =
      fitted_survey(machine, survey, result.screening.excluded, options);
  std::optional<AsStated> as_stated;
  if (fitted) {
    const Solved& solved = fitted->solved;
    as_stated = {solved.adjusted.unknowns, solved.as_stated.chi2, solved.as_stated.redundancy};
  }
  result.sense = check_turn_sense(whole, stated_random_model(whole), as_stated, options.solver);
  if (!fitted) {
    // Under the wrong sense every other complaint is a consequence of it.
    if (result.sense.wrong()) return refused({result.sense.as_refusal(machine)}, machine, survey);
    return tl::make_unexpected(fitted.error());
  }
  if (options.screen && !result.sense.wrong()) {
    result.screening = screened(machine, survey, *fitted, options, limits);
    if (!result.screening.exclusions.empty()) result.sense = sense_of(*fitted, options);
  }
  result.fitted = std::move(*fitted);
  return result;
}

}  // namespace pivotrace

// Monte Carlo of one's own survey (JCGM 101): repeatable, and the same uncertainty a second way.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <thread>
#include <vector>

#include "estimate/fitted_survey.h"
#include "estimate/trial_bench.h"
#include "machines.h"
#include "pivotrace/estimate/trials.h"
#include "pivotrace/survey/random_stream.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

TrialsResult trials_of(const Machine& machine, const Survey& survey, const TrialOptions& options) {
  const auto result = run_trials(machine, survey, {}, options);
  REQUIRE(result.has_value());
  return *result;
}

}  // namespace

TEST_CASE("a seed gives the same trials bit for bit, whatever the number of threads") {
  Scenario s = fourth_axis(12, 4, 3);
  s.machine.probe.offset_u_mm = {0.001, 0.001, 0.003};
  const Survey survey = survey_of(s);
  TrialOptions options;
  options.trials = 1000;
  options.seed = 17;
  options.threads = 1;
  const TrialsResult one = trials_of(s.machine, survey, options);
  for (const int threads : {2, 3, 7, 0}) {
    INFO(threads, " threads");
    options.threads = threads;
    const TrialsResult many = trials_of(s.machine, survey, options);
    REQUIRE(many.outputs.size() == one.outputs.size());
    for (std::size_t k = 0; k < one.outputs.size(); ++k) {
      CHECK(many.outputs[k].mean == one.outputs[k].mean);
      CHECK(many.outputs[k].deviation == one.outputs[k].deviation);
      CHECK(many.outputs[k].low == one.outputs[k].low);
      CHECK(many.outputs[k].high == one.outputs[k].high);
    }
  }
  options.seed = 18;
  CHECK(trials_of(s.machine, survey, options).outputs[0].mean != one.outputs[0].mean);
}

TEST_CASE("the width of the processor's registers does not change a bit") {
  REQUIRE_FALSE(lanes_available().empty());
  for (const NamedScenario& named : every_machine()) {
    INFO(named.name);
    const Survey survey = survey_of(named.scenario);
    if (!fit_survey(named.scenario.machine, survey).has_value()) continue;
    TrialOptions options;
    options.trials = 101;
    options.lanes = lanes_available().front();
    const TrialsResult narrow = trials_of(named.scenario.machine, survey, options);
    for (const int lanes : lanes_available()) {
      INFO(lanes, " lanes");
      options.lanes = lanes;
      const TrialsResult wide = trials_of(named.scenario.machine, survey, options);
      for (std::size_t k = 0; k < narrow.outputs.size(); ++k) {
        CHECK(wide.outputs[k].mean == narrow.outputs[k].mean);
        CHECK(wide.outputs[k].deviation == narrow.outputs[k].deviation);
      }
    }
  }
}

TEST_CASE("a width the processor does not have is refused") {
  TrialOptions options;
  options.lanes = 3;
  CHECK(options.validate().size() == 1);
}

namespace {

/// One fit with everything a trial needs.
struct Fitted {
  Machine machine;
  Survey survey;
  std::vector<Effect> effects;
  Model model;
  RandomModel random;
  Adjusted adjusted;
  std::vector<CommonTerm> common;
  TrialBench bench;

  Fitted(const Scenario& s, const std::vector<Effect>& unknown_effects)
      : machine(s.machine),
        survey(survey_of(s)),
        effects(unknown_effects),
        model(machine, survey, effects),
        random(stated_random_model(model)),
        adjusted(settled_at(model, random, minimum(model, s), effects_of(common_terms(machine)))),
        common(common_terms(machine)),
        bench(model, adjusted, random, common) {}

  Eigen::VectorXd minimum(const Model& of, const Scenario& s) const {
    const auto found = minimise_gaps(of, random, of.unknowns_from(s.truth.state), {});
    REQUIRE(found.has_value());
    return found->unknowns;
  }

  /// The touches of a trial, worked out here from what the bench says they depend on.
  Survey trial_survey(const std::vector<double>& draws) const {
    const trial::Problem& p = bench.problem();
    Survey moved = survey;
    int draw = p.commons + p.shared;
    const int* shared_of = p.shared_of;
    const double* by_shared = p.by_shared;
    int reading = 0;
    int touch = 0;
    for (int s = 0; s < p.stations; ++s) {
      const int own = draw;
      draw += p.random_effects;
      for (int t = 0; t < p.station[s].touches; ++t, ++touch) {
        Eigen::Vector3d shown(p.touch[touch].shown_mm[0], p.touch[touch].shown_mm[1],
                              p.touch[touch].shown_mm[2]);
        for (int r = 0; r < p.touch[touch].readings; ++r, ++reading, ++draw) {
          double error = p.touch_sigma_mm * draws[draw];
          for (int c = 0; c < p.commons; ++c) {
            error += p.by_common[reading * p.commons + c] * draws[c];
          }
          for (int k = 0; k < p.random_effects; ++k) {
            error += p.by_random[reading * p.random_effects + k] * draws[own + k];
          }
          for (int k = 0; k < p.station[s].shared; ++k) {
            error += by_shared[k] * draws[p.commons + shared_of[k]];
          }
          by_shared += p.station[s].shared;
          shown += error * Eigen::Map<const Eigen::Vector3d>(p.outward + 3 * reading);
        }
        moved.touches[moved.stations[s].first_touch + t].shown_mm = shown;
      }
      shared_of += p.station[s].shared;
    }
    return moved;
  }
};

/// Largest difference of any unknown between a trial's refit and a full adjustment.
double refit_error(const Scenario& s, const std::vector<Effect>& effects, std::uint64_t seed) {
  const Fitted fitted(s, effects);
  const trial::Problem& p = fitted.bench.problem();
  RandomStream random(seed);
  std::vector<double> draws(p.draws());
  for (double& draw : draws) draw = random.normal();
  // A full adjustment has the diameters as they are stated, a trial as they were fitted: so its errors
  // are what the fit left over.
  const Eigen::VectorXd left = prior_rows(fitted.model, fitted.adjusted.unknowns).residual;
  std::copy(left.begin(), left.end(), draws.end() - p.priors);
  std::vector<double> pairs, scratch(2 * p.scratch()), unknowns(2 * p.unknowns);
  for (const double draw : draws) pairs.insert(pairs.end(), {draw, draw});
  trial::refit_two(p, pairs.data(), scratch.data(), unknowns.data());
  const Survey moved = fitted.trial_survey(draws);
  const Model model(fitted.machine, moved, effects);
  const auto full = minimise_gaps(model, fitted.random, fitted.adjusted.unknowns, {});
  REQUIRE(full.has_value());
  const Adjusted settled = settled_at(model, fitted.random, full->unknowns, {});
  double largest = 0.0;
  for (int i = 0; i < p.unknowns; ++i) {
    largest = std::max(largest, std::abs(unknowns[2 * i] - settled.unknowns[i]));
  }
  return largest;
}

}  // namespace

TEST_CASE("a trial's refit is a full adjustment of the same touches, for every kind of machine") {
  for (const NamedScenario& named : every_machine()) {
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      INFO(named.name, " seed ", seed);
      CHECK(refit_error(named.scenario, {}, seed) < trial_refit_bound_mm);
    }
  }
}

TEST_CASE("a trial's refit is a full adjustment with optional unknowns too") {
  Scenario s = fourth_axis(12, 7, 3);
  // There and back again: half of the stations are reached from below, half from above.
  const std::vector<StationTarget> there = s.stations;
  s.stations.insert(s.stations.end(), there.rbegin() + 1, there.rend());
  const std::vector<Effect> effects = {
      {EffectKind::reversal, 0}, {EffectKind::lobing, 0}, {EffectKind::lobing, 1}};
  for (std::uint64_t seed = 1; seed <= 5; ++seed) {
    INFO("seed ", seed);
    CHECK(refit_error(s, effects, seed) < trial_refit_bound_mm);
  }
}

// 20,000 trials give a standard deviation to 0.5 % and an end of the interval to 1 %; five of those.
TEST_CASE("the scatter of the trials is the stated absolute uncertainty, on every machine") {
  for (const NamedScenario& named : every_machine()) {
    if (named.name != "ball on a 4th axis" && named.name != "pin in a chuck" &&
        named.name != "table on a trunnion" && named.name != "swivel head")
      continue;
    INFO(named.name);
    Scenario s = named.scenario;
    s.machine.probe.offset_u_mm = {0.001, 0.001, 0.003};
    const Survey survey = survey_of(s);
    const auto fit = fit_survey(s.machine, survey);
    REQUIRE(fit.has_value());
    TrialOptions options;
    options.trials = 20000;
    options.seed = 5;
    const TrialsResult trials = trials_of(s.machine, survey, options);
    for (std::size_t k = 0; k < trials.outputs.size(); ++k) {
      const TrialOutput& output = trials.outputs[k];
      INFO(output.name);
      REQUIRE(fit->covariance.names[k] == output.name);
      const auto i = static_cast<Eigen::Index>(k);
      const double u = std::sqrt(fit->covariance.absolute(i, i));
      CHECK(output.deviation == doctest::Approx(u).epsilon(0.025));
      CHECK(std::abs(output.mean - output.value) < 5.0 * u / std::sqrt(20000.0));
      CHECK(output.high - output.value == doctest::Approx(1.96 * u).epsilon(0.05));
      CHECK(output.value - output.low == doctest::Approx(1.96 * u).epsilon(0.05));
    }
  }
}

TEST_CASE("progress is reported from one thread, never falls back, and ends at the last trial") {
  const Scenario s = fourth_axis(6, 4, 3);
  TrialOptions options;
  options.trials = 5000;
  options.threads = 4;
  std::vector<int> seen;
  const std::thread::id caller = std::this_thread::get_id();
  bool same_thread = true;
  options.progress = [&](int done) {
    same_thread = same_thread && std::this_thread::get_id() == caller;
    seen.push_back(done);
  };
  trials_of(s.machine, survey_of(s), options);
  REQUIRE_FALSE(seen.empty());
  CHECK(seen.back() == 5000);
  CHECK(std::is_sorted(seen.begin(), seen.end()));
  CHECK(same_thread);
}

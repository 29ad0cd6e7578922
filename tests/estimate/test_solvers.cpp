// Two solvers that share no code but the residuals end in the same place, refuse for the same reasons
// and blame the same touches.
#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "machines.h"
#include "random_scenarios.h"
#include "solver_agreement.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

void check_agreement(const Machine& machine, const Survey& survey, const FitOptions& options = {}) {
  const Disagreement found = between_solvers(machine, survey, options);
  CHECK_MESSAGE(found.text().empty(), found.text());
}

}  // namespace

TEST_CASE("both solvers agree on every machine and artefact kind") {
  for (const NamedScenario& one : every_machine()) {
    INFO(one.name);
    check_agreement(one.scenario.machine, survey_of(one.scenario));
  }
}

TEST_CASE("both solvers agree on random machines, square and tilted") {
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    for (const bool tilted : {false, true}) {
      INFO("seed ", seed, tilted ? " tilted" : " square");
      const Scenario s = random_scenario(seed, tilted);
      check_agreement(s.machine, survey_of(s));
    }
  }
}

TEST_CASE("both solvers agree on random machines with a bad touch, left out or kept") {
  for (std::uint64_t seed = 101; seed <= 130; ++seed) {
    INFO("seed ", seed);
    const Scenario s = random_scenario(seed, false);
    Survey survey = survey_of(s);
    RandomStream random(seed);
    Touch& bad = survey.touches[static_cast<std::size_t>(
        random.uniform() * static_cast<double>(survey.touches.size()))];
    bad.shown_mm += between(random, 0.02, 5.0) * random_direction(random);
    for (const bool screen : {true, false}) {
      INFO(std::string(screen ? "left out" : "kept"));
      FitOptions options;
      options.screen = screen;
      check_agreement(s.machine, survey, options);
    }
  }
}

/// Under the wrong sense the sum of squares has several valleys: which one is met is chance, the
/// verdict is not. (Where all stations stand at few angles both senses fit, and nobody can say.)
bool says_wrong_sense(const Expected<FitResult>& result) {
  if (!result) return result.error().front().number == ProblemNumber::wrong_turn_sense;
  return !result->usable &&
         std::any_of(result->findings.begin(), result->findings.end(),
                     [](const Finding& f) { return f.code == FindingCode::turn_sense_wrong; });
}

TEST_CASE("both solvers say the same when the axis of a random machine turns the other way") {
  for (std::uint64_t seed = 201; seed <= 220; ++seed) {
    INFO("seed ", seed);
    Scenario s = random_scenario(seed, false);
    const Survey survey = survey_of(s);
    TurnSense& sense = s.machine.rotary.front().positive_turn;
    sense = sense == TurnSense::left_hand ? TurnSense::right_hand : TurnSense::left_hand;
    FitOptions own;
    own.solver = Solver::gauss_newton;
    CHECK(says_wrong_sense(fit_survey(s.machine, survey, own)) ==
          says_wrong_sense(fit_survey(s.machine, survey)));
  }
}

TEST_CASE("both solvers refuse the same short arcs") {
  for (std::uint64_t seed = 301; seed <= 320; ++seed) {
    INFO("seed ", seed);
    Scenario s = random_scenario(seed, false);
    s.stations.resize(2 + seed % 3);
    check_agreement(s.machine, survey_of(s));
  }
}

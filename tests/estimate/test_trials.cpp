// Monte Carlo of one's own survey (JCGM 101): repeatable, and the same uncertainty a second way.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <thread>
#include <vector>

#include "machines.h"
#include "pivotrace/estimate/trials.h"

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

// Time and accuracy of the joint adjustment and of the whole fit against the number of touches.
// Five touches and a pole per station, so the stations grow with the touches: the harder way.
#include <benchmark/benchmark.h>
#include <sys/resource.h>

#include "estimate/adjustment.h"
#include "estimate/scenarios.h"
#include "estimate/start.h"
#include "pivotrace/estimate/fit.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::testing;

Scenario with_touches(int touches) { return fourth_axis(touches / 6, 5, 1); }

RandomModel stated(const Machine& machine) {
  RandomModel random;
  random.touch_sigma_mm = machine.probe.touch_sigma_mm;
  random.station_sigma_mm = machine.linear.station_sigma_mm;
  random.index_sigma_rad[0] = machine.rotary[0].index_sigma_rad;
  return random;
}

/// Distance of the fitted centre from the truth in the quoted plane [um].
double error_um(const Scenario& scenario, const Line& line) {
  const Eigen::Vector3d truth =
      pierce_plane(scenario.truth.state.axis_lines[0], Eigen::Vector3d::UnitX(), line.point_mm.x());
  return 1e3 * (line.point_mm - truth).norm();
}

double peak_memory_mib() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_maxrss) / 1024.0;
}

void solver(benchmark::State& state) {
  const Scenario scenario = with_touches(static_cast<int>(state.range(0)));
  const Survey survey = survey_of(scenario);
  const RandomModel random = stated(scenario.machine);
  MachineState found;
  for (auto _ : state) {
    const Model model(scenario.machine, survey);
    const auto minimum = minimise_gaps(model, random, starting_unknowns(model), {});
    found = model.state(minimum->unknowns);
  }
  state.counters["touches"] = static_cast<double>(survey.touches.size());
  state.counters["error_um"] = error_um(scenario, found.axis_lines[0]);
  state.counters["peak_MiB"] = peak_memory_mib();
  state.SetComplexityN(static_cast<benchmark::IterationCount>(survey.touches.size()));
}

void whole_fit(benchmark::State& state) {
  const Scenario scenario = with_touches(static_cast<int>(state.range(0)));
  const Survey survey = survey_of(scenario);
  double error = 0.0;
  for (auto _ : state) {
    const auto result = fit_survey(scenario.machine, survey);
    error = error_um(scenario, result->axes.front().line);
  }
  state.counters["touches"] = static_cast<double>(survey.touches.size());
  state.counters["error_um"] = error;
  state.counters["peak_MiB"] = peak_memory_mib();
  state.SetComplexityN(static_cast<benchmark::IterationCount>(survey.touches.size()));
}

}  // namespace

BENCHMARK(solver)
    ->Unit(benchmark::kMillisecond)
    ->RangeMultiplier(10)
    ->Range(60, 600000)
    ->Complexity(benchmark::oN);
BENCHMARK(whole_fit)
    ->Unit(benchmark::kMillisecond)
    ->RangeMultiplier(10)
    ->Range(60, 600000)
    ->Complexity(benchmark::oN);
BENCHMARK_MAIN();

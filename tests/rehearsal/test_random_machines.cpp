// Laws over random machines: whatever is planned and emitted rehearses without a collision, a limit
// or an unguarded move, or was refused; and the fit of what it logs holds the truth at the promised
// rate. Every failure names the seed: PIVOTRACE_SEED=n repeats that machine alone, and with
// PIVOTRACE_KEEP=FOLDER its program is kept there. PIVOTRACE_MACHINES=n asks for more machines.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/report/rehearsal_text.h"
#include "pivotrace/results/beside_truth.h"
#include "rehearsal/demo_loop.h"
#include "rehearsal/random_machine.h"

namespace pivotrace {
namespace {

using test::all_of;
using test::DemoLoop;
using test::RandomMachine;
using test::Setup;

/// PIVOTRACE_MACHINES=n asks for another number, 1000 at the most.
std::uint64_t machines_per_setup() {
  constexpr std::uint64_t usual = 54;
  const char* wanted = std::getenv("PIVOTRACE_MACHINES");
  return wanted == nullptr ? usual : std::min(std::strtoull(wanted, nullptr, 10), 1000ULL);
}

const ControlSheet& sheet_of(std::uint64_t seed) {
  static const ControlSheet demo_control =
      read_control_sheet(test::in_source("routines/demo-control.toml")).value();
  static const ControlSheet ngc = read_control_sheet(test::in_source("routines/ngc.toml")).value();
  static const ControlSheet third =
      read_control_sheet(test::in_source("tests/cycle/third.toml")).value();
  const ControlSheet* const all[] = {&demo_control, &ngc, &third};
  return *all[seed % 3];
}

/// What became of the machines of one setup.
struct Tally {
  int rehearsed = 0;
  int refused = 0;
  int fitted = 0;
  int values = 0;
  int held = 0;
  double squared_counts = 0.0;  ///< sum of (values of one survey)^2
};

/// Beyond this many U95 a value is wrong, not unlucky: 4 U95 are eight sigma.
constexpr double never_off_by = 4.0;
/// With fewer degrees of freedom Student's t itself reaches that far now and then.
constexpr double enough_dof = 8.0;

void fit_and_count(const DemoLoop& loop, const RehearsalTruth& truth, const RehearsalReport& report,
                   Tally& tally) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  if (!survey) MESSAGE(all_of(survey.error()));
  REQUIRE(survey.has_value());
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  if (!fit) {  // refused as not observable: allowed, and says so
    CHECK_FALSE(fit.error().empty());
    return;
  }
  ++tally.fitted;
  const std::vector<ValueBesideTruth> values = beside_truth(*fit, *survey, loop.machine, truth);
  for (const ValueBesideTruth& value : values) {
    CAPTURE(text_of(value.name));
    CAPTURE(value.fitted - value.truth);
    CAPTURE(value.U95);
    tally.held += value.held() ? 1 : 0;
    if (fit->fit.dof >= enough_dof) {
      CHECK(std::fabs(value.fitted - value.truth) <= never_off_by * value.U95);
    }
  }
  tally.values += static_cast<int>(values.size());
  tally.squared_counts += static_cast<double>(values.size() * values.size());
}

PlanRequest request_for(std::uint64_t seed) {
  PlanRequest request;
  request.self_find = seed % 2 == 0;
  request.flip = seed % 5 == 0;
  if (seed % 7 == 0) request.purpose = Purpose::commissioning;
  if (seed % 7 == 3) request.purpose = Purpose::after_crash;
  if (seed % 11 == 0) request.order = StationOrder::pairs;
  if (seed % 13 == 0) request.equator_touches = 6;
  return request;
}

CycleOptions cycle_options_for(std::uint64_t seed, const Machine& machine) {
  CycleOptions how;
  const bool work = machine.rotary.front().side == AxisSide::work;
  if (work && seed % 6 == 1) how.solve_axis = 0;
  if (how.solve_axis && seed % 4 == 1) how.set_offset = 2;
  return how;
}

void run_machine(Setup setup, std::uint64_t seed, Tally& tally) {
  const std::string repeat = fmt::format("PIVOTRACE_SEED={} ({})", seed, word_of(setup));
  CAPTURE(repeat);
  RandomMachine random(seed);
  const Machine machine = random.machine(setup);
  const Expected<DemoLoop> loop =
      test::demo_loop(machine, sheet_of(seed), request_for(seed), cycle_options_for(seed, machine));
  if (!loop) {
    ++tally.refused;
    CHECK_FALSE(loop.error().empty());
    for (const Problem& problem : loop.error()) CHECK_FALSE(problem.what.empty());
    return;
  }
  ++tally.rehearsed;
  const RehearsalTruth truth = random.truth();
  RehearsalOptions options = test::options_for(*loop);
  options.noise = random.noise(seed);
  const Expected<RehearsalReport> report =
      rehearse(loop->program.text, "random.nc", machine, loop->sheet, truth, options);
  REQUIRE(report.has_value());
  if (const char* folder = std::getenv("PIVOTRACE_KEEP")) {
    CHECK(write_file(fmt::format("{}/{}.nc", folder, seed), loop->program.text).has_value());
  }
  CAPTURE(rehearsal_text(*report, machine));
  CHECK(report->passed);
  if (report->passed) fit_and_count(*loop, truth, *report, tally);
}

void run_setup(Setup setup) {
  Tally tally;
  if (const char* alone = std::getenv("PIVOTRACE_SEED")) {
    run_machine(setup, std::strtoull(alone, nullptr, 10), tally);
    return;
  }
  // No seed serves two setups, and every setup meets every control sheet, with and without a flip.
  const std::uint64_t first = 1 + 1000 * static_cast<std::uint64_t>(setup);
  const std::uint64_t count = machines_per_setup();
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    run_machine(setup, seed, tally);
  }
  MESSAGE(std::string(word_of(setup)), ", seeds ", first, " to ", first + count - 1, ": ",
          tally.rehearsed, " rehearsed, ", tally.refused, " refused, ", tally.fitted, " fitted; ",
          tally.held, " of ", tally.values, " values within U95");
  CHECK(tally.rehearsed >= static_cast<int>(count) / 3);
  CHECK(tally.fitted >= tally.rehearsed * 9 / 10);
  // 95 % less four standard deviations of the binomial count, as if all values of one survey stood
  // and fell together: a false alarm in fewer than 1 of 10,000 changes of the seeds.
  const double four_sigma = 4.0 * std::sqrt(0.95 * 0.05 * tally.squared_counts);
  CHECK(tally.held >= 0.95 * tally.values - four_sigma);
}

// One test case for each setup: they run side by side, and a failure says where.
TEST_CASE("random machines: a ball on a work axis") { run_setup(Setup::ball_on_axis); }
TEST_CASE("random machines: a pin in a chuck") { run_setup(Setup::pin_in_chuck); }
TEST_CASE("random machines: a bore on a round table") { run_setup(Setup::bore_on_table); }
TEST_CASE("random machines: a ball and a flat on a round table") {
  run_setup(Setup::ball_and_flat);
}
TEST_CASE("random machines: a ball under a swivel head") { run_setup(Setup::ball_under_head); }
TEST_CASE("random machines: a ball on a tilting round table") { run_setup(Setup::tilting_table); }

}  // namespace
}  // namespace pivotrace

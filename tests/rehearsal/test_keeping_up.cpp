// Programs over the angles of all axes at once: they predict after the first stations, take the
// minutes that were planned, and stop at every fault as any other program does.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "head_with_table.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"
#include "pivotrace/report/rehearsal_text.h"
#include "pivotrace/results/beside_truth.h"
#include "rehearsal/demo_loop.h"
#include "rehearsal/fault_walk.h"
#include "rehearsal/mixed_plan.h"
#include "rehearsal/random_machine.h"

namespace pivotrace {
namespace {

using test::DemoLoop;
using test::MixedWish;
using test::RandomMachine;
using test::Setup;
using testing::example;
using testing::head_with_table;

const char* const watching_controls[] = {"routines/demo-control.toml", "tests/cycle/third.toml"};
/// Planned and rehearsed minutes may differ by this share.
constexpr double minutes_agree = 0.05;

Machine mixed_machine(const std::string& name) {
  return name == "head with table" ? head_with_table() : example(name);
}

double rehearsed_minutes(const RehearsalReport& report) {
  return (report.seconds + control_s_per_move * report.moves) / 60.0;
}

std::optional<DemoLoop> mixed_loop(const Machine& machine, const MixedWish& wish,
                                   const char* control) {
  const std::optional<Plan> plan = test::mixed_plan(machine, wish);
  if (!plan) return std::nullopt;
  const ControlSheet sheet = read_control_sheet(test::in_source(control)).value();
  const Expected<EmittedProgram> program = make_program(machine, *plan, sheet, {});
  if (!program) MESSAGE(test::all_of(program.error()));
  REQUIRE(program.has_value());
  return DemoLoop{machine, sheet, *plan, *program};
}

RehearsalReport rehearsed(const DemoLoop& loop, const RehearsalTruth& truth) {
  return rehearse(loop.program.text, "mixed.nc", loop.machine, loop.sheet, truth,
                  test::options_for(loop))
      .value();
}

/// Triggers of a plan: two per measured touch, one per touch of a finding pass.
int triggers_foreseen(const DemoLoop& loop, std::size_t from_station) {
  const Foresight foresight = foresee(loop.machine, loop.plan);
  int triggers = 0;
  for (std::size_t i = from_station; i < foresight.stations.size(); ++i) {
    for (const ForeseenVisit& visit : foresight.stations[i]) {
      triggers += static_cast<int>(visit.touches) * (2 + visit.finding_passes);
    }
  }
  return triggers;
}

void check_truth_comes_back(const DemoLoop& loop, const RehearsalTruth& truth,
                            const RehearsalReport& report) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  REQUIRE(survey.has_value());
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  if (!fit) MESSAGE(test::all_of(fit.error()));
  REQUIRE(fit.has_value());
  for (const ValueBesideTruth& value : beside_truth(*fit, *survey, loop.machine, truth)) {
    CAPTURE(text_of(value.name));
    CHECK(value.held());
  }
}

}  // namespace

TEST_CASE("planned and rehearsed minutes of every demo agree within 5 %") {
  for (const char* name : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    for (const Purpose purpose : {Purpose::commissioning, Purpose::periodic_check}) {
      for (const char* control : watching_controls) {
        CAPTURE(name);
        CAPTURE(control);
        PlanRequest request;
        request.purpose = purpose;
        const DemoLoop loop =
            test::demo_loop(example(name), read_control_sheet(test::in_source(control)).value(),
                            request)
                .value();
        const RehearsalReport report = rehearsed(loop, test::moved_truth(loop.machine));
        CAPTURE(rehearsal_text(report, loop.machine));
        REQUIRE(report.passed);
        MESSAGE(fmt::format("{} {} {}: planned {:.2f}, rehearsed {:.2f} min", name,
                            word_of(purpose), control, loop.plan.minutes,
                            rehearsed_minutes(report)));
        CHECK(loop.plan.minutes ==
              doctest::Approx(rehearsed_minutes(report)).epsilon(minutes_agree));
      }
    }
  }
}

TEST_CASE("mixed angles: after the first stations nothing is found before it is measured") {
  for (const char* name : {"trunnion", "swivel-head", "head with table"}) {
    for (const char* control : watching_controls) {
      for (const std::uint64_t seed : {1, 2, 3}) {
        CAPTURE(name);
        CAPTURE(control);
        CAPTURE(seed);
        const auto loop = mixed_loop(mixed_machine(name), {seed, 14, 4, 1.0, 0.5}, control);
        REQUIRE(loop.has_value());
        const RehearsalTruth truth = test::moved_truth(loop->machine);
        const RehearsalReport report = rehearsed(*loop, truth);
        CAPTURE(rehearsal_text(report, loop->machine));
        REQUIRE(report.passed);
        CHECK(static_cast<int>(report.touches.size()) == triggers_foreseen(*loop, 0));
        CHECK(triggers_foreseen(*loop, 5) == 2 * 4 * (14 - 5));
        CHECK(loop->plan.minutes ==
              doctest::Approx(rehearsed_minutes(report)).epsilon(minutes_agree));
        check_truth_comes_back(*loop, truth, report);
      }
    }
  }
}

TEST_CASE("random machines, random angles of both axes in random order: planned is rehearsed") {
  int ran = 0;
  double worst = 0.0;
  const int machines = 40;
  for (std::uint64_t seed = 9001; seed < 9001 + machines; ++seed) {
    CAPTURE(seed);
    RandomMachine random(seed);
    const Setup setup = seed % 3 == 0 ? Setup::ball_under_head : Setup::tilting_table;
    const Machine machine = random.machine(setup);
    const MixedWish wish{seed, 8 + static_cast<int>(seed % 7), 3 + static_cast<int>(seed % 4),
                         seed % 5 == 0 ? 3.0 : 1.0, seed % 2 == 0 ? 0.5 : 3.0};
    const auto loop = mixed_loop(machine, wish, watching_controls[seed % 2]);
    if (!loop) continue;
    ++ran;
    const RehearsalReport report = rehearsed(*loop, random.truth());
    CAPTURE(rehearsal_text(report, machine));
    CHECK(report.passed);
    if (!report.passed) continue;
    CHECK(static_cast<int>(report.touches.size()) == triggers_foreseen(*loop, 0));
    const double off = loop->plan.minutes / rehearsed_minutes(report) - 1.0;
    worst = std::max(worst, std::fabs(off));
    CHECK(std::fabs(off) <= minutes_agree);
  }
  MESSAGE(
      fmt::format("{} of {} machines ran; planned and rehearsed minutes differ by {:.1f} % at "
                  "the most",
                  ran, machines, 100.0 * worst));
  CHECK(ran >= machines / 3);
}

TEST_CASE("mixed angles: every made-up fault at every third touch is stopped or recognised") {
  for (const char* control : watching_controls) {
    CAPTURE(control);
    const auto loop = mixed_loop(example("trunnion"), {4, 9, 4, 1.0, 0.5}, control);
    REQUIRE(loop.has_value());
    const test::FaultWalk walk = test::walk_faults(*loop, test::moved_truth(loop->machine), 1, 3);
    MESSAGE(fmt::format("{}: {} rehearsals, {} stopped, {} recognised, {} without harm", control,
                        walk.rehearsals, walk.stopped, walk.recognised, walk.without_harm));
    CHECK(walk.stopped > 0);
    for (const test::UnsafeEnd& end : walk.unsafe) FAIL_CHECK(fault_text(end.fault), ": ", end.why);
  }
}

namespace {

/// What the file may have wrong beyond what it says of itself.
RehearsalTruth wrong_by(const Machine& machine, double mm, int which) {
  RehearsalTruth truth = nominal_truth(machine);
  const Eigen::Vector3d way =
      Eigen::Vector3d(which % 3 == 0 ? 1.0 : -0.6, which % 2 == 0 ? 0.8 : -1.0,
                      which % 5 < 2 ? 0.7 : -0.9)
          .normalized();
  const std::size_t axes = truth.survey.state.axis_lines.size();
  const std::size_t part = static_cast<std::size_t>(which) % (axes + 1);
  if (part < axes) {
    truth.survey.state.axis_lines[part].point_mm += mm * way;
  } else {
    for (ArtefactPlace& place : truth.survey.state.artefacts) place.point_mm += mm * way;
  }
  return truth;
}

}  // namespace

TEST_CASE("mixed angles: a file wrong beyond its word stops the program, and nothing is pressed") {
  const Machine machine = example("trunnion");
  const auto loop = mixed_loop(machine, {5, 10, 4, 1.0, 0.5}, "routines/demo-control.toml");
  REQUIRE(loop.has_value());
  const ProbingDistances& d = loop->plan.distances;
  int stopped = 0;
  // The promise is `rough`, here 1 mm: up to its edge every program runs to its end. Beyond it, up to six
  // times as much, the stylus ball still comes first; then the shank may.
  CHECK(d.rough == 1.0);
  for (const double mm : {0.9, 1.0, 1.5, 2.5, 4.0, 6.0}) {
    for (int which = 0; which < 9; ++which) {
      CAPTURE(mm);
      CAPTURE(which);
      const RehearsalReport report = rehearsed(*loop, wrong_by(machine, mm, which));
      CAPTURE(rehearsal_text(report, machine));
      CHECK(report.violations.empty());
      CHECK((report.run.end == ProgramEnd::finished || report.run.end == ProgramEnd::alarm));
      // No trigger is missed here: only the slides' braking presses the stylus.
      CHECK(report.largest_overtravel_mm < d.search);
      stopped += report.run.end == ProgramEnd::alarm ? 1 : 0;
      if (report.run.end == ProgramEnd::alarm) {
        CHECK(report.end.shown_mm.z() == doctest::Approx(d.safe_height).epsilon(1e-6));
      }
      if (mm <= d.rough) CHECK(report.passed);
    }
  }
  CHECK(stopped > 0);
}

}  // namespace pivotrace

// The loop closed on the demo machines: plan, cycle, rehearse, fit, in every dialect.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/rehearsal/truth.h"
#include "rehearsal/demo_loop.h"

namespace pivotrace {
namespace {

using test::all_of;
using test::demo_loop;
using test::DemoLoop;
using test::in_source;

const char* const demo_machines[] = {
    "examples/fourth-axis.machine.toml", "examples/trunnion.machine.toml",
    "examples/pin-in-chuck.machine.toml", "examples/swivel-head.machine.toml"};
const char* const dialects[] = {"routines/macro.toml", "routines/ngc.toml",
                                "tests/cycle/third.toml"};

DemoLoop loop_of(const char* machine_file, const char* dialect_file, bool self_find) {
  const Expected<Machine> machine = read_machine(in_source(machine_file));
  REQUIRE(machine.has_value());
  const Expected<Dialect> dialect = read_dialect(in_source(dialect_file));
  REQUIRE(dialect.has_value());
  PlanRequest request;
  request.self_find = self_find;
  Expected<DemoLoop> loop = demo_loop(*machine, *dialect, request);
  if (!loop) MESSAGE(all_of(loop.error()));
  REQUIRE(loop.has_value());
  return *loop;
}

/// A machine that is not quite as its file says: everything within what a plan must cope with.
RehearsalTruth worn_truth(const Machine& machine) {
  RehearsalTruth truth = nominal_truth(machine);
  for (std::size_t i = 0; i < truth.survey.state.axis_lines.size(); ++i) {
    Line& line = truth.survey.state.axis_lines[i];
    line.point_mm += Eigen::Vector3d(0.08, -0.05, 0.06);
    line.direction = (line.direction + Eigen::Vector3d(3e-4, -2e-4, 4e-4)).normalized();
  }
  for (ArtefactPlace& place : truth.survey.state.artefacts) {
    place.point_mm += Eigen::Vector3d(-0.2, 0.3, 0.1);
  }
  return truth;
}

void check_fit_holds_truth(const DemoLoop& loop, const RehearsalTruth& truth,
                           const RehearsalReport& report) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  if (!survey) MESSAGE(all_of(survey.error()));
  REQUIRE(survey.has_value());
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  if (!fit) MESSAGE(all_of(fit.error()));
  REQUIRE(fit.has_value());
  for (std::size_t i = 0; i < loop.machine.rotary.size(); ++i) {
    const AxisResult& axis = fit->axes[i];
    if (!axis.estimated) continue;
    CAPTURE(axis.letter);
    const Line& line = truth.survey.state.axis_lines[i];
    CHECK(axis.turn_confirmed);
    for (const NamedEstimate& named : axis.location) {
      CAPTURE(named.symbol);
      const Eigen::Vector3d nominal = loop.machine.rotary[i].direction;
      const double value = pierce_plane(line, nominal, axis.quoted_at_mm)[named.key[0] - 'X'];
      // Noise-free touches: what is left is the rounding of the log, a few tenths of a micrometre.
      CHECK(std::fabs(named.estimate.value - value) < 0.001);
      CHECK(std::fabs(named.estimate.value - value) <= named.estimate.U95_absolute);
    }
  }
}

TEST_CASE("plan, cycle, rehearse, fit: the truth comes back on every demo in every dialect") {
  for (const char* machine_file : demo_machines) {
    for (const char* dialect_file : dialects) {
      for (const bool self_find : {false, true}) {
        CAPTURE(machine_file);
        CAPTURE(dialect_file);
        CAPTURE(self_find);
        const DemoLoop loop = loop_of(machine_file, dialect_file, self_find);
        const RehearsalTruth truth = worn_truth(loop.machine);
        const Expected<RehearsalReport> report =
            rehearse(loop.program.text, "demo.nc", loop.machine, loop.dialect, truth,
                     test::options_for(loop));
        REQUIRE(report.has_value());
        CAPTURE(rehearsal_text(*report, loop.machine));
        CHECK(report->passed);
        if (report->passed) check_fit_holds_truth(loop, truth, *report);
      }
    }
  }
}

}  // namespace
}  // namespace pivotrace

// Every made-up fault at every touch of every demo: the program stops, nothing is hit; or the fit
// of what it recorded is right, or says that something is wrong.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/line.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/fault_walk.h"

namespace pivotrace {
namespace {

using test::DemoLoop;
using test::FaultWalk;

DemoLoop loop_of(const std::string& demo, const std::string& control_file, bool self_find = true) {
  const Expected<DemoLoop> loop =
      test::read_demo_loop("examples/" + demo + ".machine.toml", control_file, self_find);
  if (!loop) MESSAGE(test::all_of(loop.error()));
  REQUIRE(loop.has_value());
  return *loop;
}

void check_walk(const std::string& demo, const std::string& control_file, int step) {
  const DemoLoop loop = loop_of(demo, control_file);
  const FaultWalk walk = test::walk_faults(loop, test::moved_truth(loop.machine), 1, step);
  MESSAGE(fmt::format("{}, {}: {} rehearsals, {} stopped, {} recognised, {} without harm", demo,
                      control_file, walk.rehearsals, walk.stopped, walk.recognised,
                      walk.without_harm));
  CHECK(walk.stopped > 0);
  for (const test::UnsafeEnd& end : walk.unsafe) FAIL_CHECK(fault_text(end.fault), ": ", end.why);
}

}  // namespace

// One case each, so that they run beside each other.
TEST_CASE("faults at every touch: fourth axis on the demo control") {
  check_walk("fourth-axis", "routines/demo-control.toml", 1);
}
TEST_CASE("faults at every touch: fourth axis in ngc") {
  check_walk("fourth-axis", "routines/ngc.toml", 1);
}
TEST_CASE("faults at every touch: trunnion on the demo control") {
  check_walk("trunnion", "routines/demo-control.toml", 1);
}
TEST_CASE("faults at every touch: trunnion in ngc") {
  check_walk("trunnion", "routines/ngc.toml", 1);
}
TEST_CASE("faults at every touch: pin in chuck on the demo control") {
  check_walk("pin-in-chuck", "routines/demo-control.toml", 1);
}
TEST_CASE("faults at every touch: pin in chuck in ngc") {
  check_walk("pin-in-chuck", "routines/ngc.toml", 1);
}
TEST_CASE("faults at every touch: swivel head on the demo control") {
  check_walk("swivel-head", "routines/demo-control.toml", 1);
}
TEST_CASE("faults at every touch: swivel head in ngc") {
  check_walk("swivel-head", "routines/ngc.toml", 1);
}
TEST_CASE("faults at every seventh touch of every demo in the third control") {
  for (const char* demo : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    check_walk(demo, "tests/cycle/third.toml", 7);
  }
}

TEST_CASE("a pin near the axis hides a wrong turn from the program and not from the fit") {
  const DemoLoop loop = loop_of("pin-in-chuck", "routines/demo-control.toml");
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.survey.state.artefacts[0].point_mm += Eigen::Vector3d(0.0, 0.03, 0.05);
  RehearsalOptions options = test::options_for(loop);
  options.fault = Fault{FaultKind::wrong_turn, 0};
  const Expected<RehearsalReport> report =
      rehearse(loop.program.text, "demo.nc", loop.machine, loop.sheet, truth, options);
  REQUIRE(report.has_value());
  CAPTURE(rehearsal_text(*report, loop.machine));
  REQUIRE(report->passed);
  const Expected<Survey> survey = test::survey_of(loop, *report);
  REQUIRE(survey.has_value());
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  REQUIRE(fit.has_value());
  CHECK_FALSE(fit->usable);
  const auto sense = std::find_if(
      fit->findings.begin(), fit->findings.end(),
      [](const Finding& finding) { return finding.code == FindingCode::turn_sense_wrong; });
  REQUIRE(sense != fit->findings.end());
  CHECK(what_of(*sense).find("turns the other way") != std::string::npos);
  CHECK(advice_of(*sense).find("positive_turn") != std::string::npos);
}

namespace {

/// A small block fixed to the bed, in the way of the stylus: nobody told the plan about it.
Obstacle block_at(const Eigen::Vector3d& middle_mm) {
  Obstacle block;
  block.name = "forgotten block";
  block.carried_by = -1;
  block.shape = ObstacleShape::box;
  block.from_mm = middle_mm - Eigen::Vector3d::Constant(1.5);
  block.to_mm = middle_mm + Eigen::Vector3d::Constant(1.5);
  return block;
}

/// Points on the guarded ways of one station: half-way down to it, half-way across to the second
/// touch, half-way down to the first stand-off.
std::vector<Eigen::Vector3d> points_on_the_way(const DemoLoop& loop,
                                               const PlannedStation& station) {
  const MachineState state = nominal_state(loop.machine);
  const ProbingDistances& d = loop.plan.distances;
  const auto place = [&](const PlannedTouch& touch) {
    return place_touch(loop.machine, state, d, station.angles_rad, touch);
  };
  const PlacedTouch first = place(station.touches[0]), second = place(station.touches[1]);
  const double gap = stand_off_gap_mm(d, first);
  const Eigen::Vector3d above = first.above_mm(gap);
  const Eigen::Vector3d next = second.above_mm(stand_off_gap_mm(d, second));
  // Where the control shows the safe height, the stylus stands as much higher as the shown Z is.
  const double down_mm =
      d.safe_height - shown_from_stylus(loop.machine, state, above, station.angles_rad).z();
  std::vector<Eigen::Vector3d> points = {0.5 * (above + next),
                                         0.5 * (above + first.stand_off_mm(gap))};
  // Room for the guard of the rapid move above the block.
  if (down_mm > 20.0) points.push_back(above + Eigen::Vector3d(0, 0, 0.5 * down_mm));
  return points;
}

}  // namespace

TEST_CASE("a block nobody told the plan about is met by the stylus and left the way it came") {
  for (const char* demo : {"fourth-axis", "trunnion", "swivel-head"}) {
    for (const char* sheet : {"routines/demo-control.toml", "tests/cycle/third.toml"}) {
      DemoLoop loop = loop_of(demo, sheet, false);
      const RehearsalTruth truth = nominal_truth(loop.machine);
      const std::vector<PlannedStation> stations = loop.plan.stations;
      for (const PlannedStation& station : stations) {
        // Alone, so that the block is met on this station's ways and by nothing before.
        loop.plan.stations = {station};
        loop.program = make_program(loop.machine, loop.plan, loop.sheet, {}).value();
        for (const Eigen::Vector3d& point : points_on_the_way(loop, station)) {
          CAPTURE(demo);
          CAPTURE(sheet);
          CAPTURE(station.label);
          CAPTURE(point.transpose());
          Machine crowded = loop.machine;
          crowded.obstacles.push_back(block_at(point));
          const Expected<RehearsalReport> report = rehearse(
              loop.program.text, "demo.nc", crowded, loop.sheet, truth, test::options_for(loop));
          REQUIRE(report.has_value());
          CAPTURE(rehearsal_text(*report, crowded));
          CHECK(report->run.end == ProgramEnd::alarm);
          for (const Violation& violation : report->violations) {
            // A rapid move near a block the plan does not know cannot be helped.
            CHECK(violation.number == ProblemNumber::unguarded_move);
          }
          if (loop.sheet.branches.can_jump()) {
            CHECK(report->end.shown_mm.z() ==
                  doctest::Approx(loop.plan.distances.safe_height).epsilon(1e-6));
          }
        }
      }
    }
  }
}

}  // namespace pivotrace

// What happens before anything goes down beside an artefact: the place jogged to is compared with the
// file in every direction; and a touch that met nothing stops the program in every pass, also on a
// control that goes on where its sheet says that it stops.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>

#include "rehearsal/demo_loop.h"

namespace pivotrace {
namespace {

using test::DemoLoop;

DemoLoop loop_of(const std::string& demo, const char* control) {
  const Expected<DemoLoop> loop =
      test::read_demo_loop("examples/" + demo + ".machine.toml", control, true);
  if (!loop) MESSAGE(test::all_of(loop.error()));
  REQUIRE(loop.has_value());
  return *loop;
}

RehearsalReport run(const DemoLoop& loop, const RehearsalOptions& options,
                    const ControlSheet& sheet) {
  return rehearse(loop.program.text, "p.nc", loop.machine, sheet, nominal_truth(loop.machine),
                  options)
      .value();
}

TEST_CASE(
    "a stylus jogged to another place along the pin is stopped before it goes down beside it") {
  for (const char* control :
       {"routines/demo-control.toml", "routines/ngc.toml", "tests/cycle/third.toml"}) {
    CAPTURE(control);
    const DemoLoop loop = loop_of("pin-in-chuck", control);
    const double rough = loop.plan.distances.rough;
    for (const double off_mm : {-(rough + 0.5), rough + 0.5}) {
      CAPTURE(off_mm);
      RehearsalOptions options = test::options_for(loop);
      options.start_mm.x() += off_mm;
      const RehearsalReport report = run(loop, options, loop.sheet);
      CHECK(report.run.end == ProgramEnd::alarm);
      CHECK(report.violations.empty());
      CHECK(report.touches.size() <= 1);
    }
    RehearsalOptions options = test::options_for(loop);
    options.start_mm.x() += 0.5 * rough;
    CHECK(run(loop, options, loop.sheet).passed);
  }
}

TEST_CASE(
    "off by more than rough across the spindle, any way: nothing goes in beside the artefact") {
  for (const char* demo : {"fourth-axis", "pin-in-chuck"}) {
    const DemoLoop loop = loop_of(demo, "routines/demo-control.toml");
    const double rough = loop.plan.distances.rough;
    for (int axis = 0; axis < 2; ++axis) {
      for (const double off_mm : {-(rough + 0.5), rough + 0.5}) {
        CAPTURE(demo);
        CAPTURE(axis);
        CAPTURE(off_mm);
        RehearsalOptions options = test::options_for(loop);
        options.start_mm[axis] += off_mm;
        const RehearsalReport report = run(loop, options, loop.sheet);
        CHECK(report.run.end == ProgramEnd::alarm);
        CHECK(report.violations.empty());
        CHECK(report.touches.size() <= 1);
      }
    }
  }
}

TEST_CASE(
    "a missed trigger stops the program in every pass, even where the sheet trusts the control") {
  const DemoLoop loop = loop_of("fourth-axis", "routines/ngc.toml");
  ControlSheet goes_on = loop.sheet;
  goes_on.skip.untriggered = WhenUntriggered::goes_on;
  RehearsalOptions options = test::options_for(loop);
  const auto touches = static_cast<int>(run(loop, options, loop.sheet).touches.size());
  REQUIRE(touches > 40);
  double deepest_mm = 0.0;
  for (int touch = 1; touch <= touches; touch += touch < 30 ? 1 : 7) {
    CAPTURE(touch);
    options.fault = Fault{FaultKind::no_trigger, touch};
    const RehearsalReport report = run(loop, options, goes_on);
    CHECK(report.run.end != ProgramEnd::finished);
    deepest_mm = std::max(deepest_mm, report.largest_overtravel_mm);
  }
  // src/manual/cautions.md: pressed in by rough + search, at the first find by clearance + search.
  const ProbingDistances& d = loop.plan.distances;
  CHECK(deepest_mm <= std::max(d.clearance, 2.0 * d.rough) + d.search + 0.1);
}

TEST_CASE("the origin of a work offset and the control's own units do not matter to ngc") {
  const DemoLoop loop = loop_of("fourth-axis", "routines/ngc.toml");
  RehearsalOptions options = test::options_for(loop);
  const RehearsalReport plain = run(loop, options, loop.sheet);
  REQUIRE(plain.passed);
  // The control stands in inches and keeps its origins in inches, and a shift is in force.
  options.control.in_force[ModalGroup::units] = Meaning::inches;
  for (AxisValues& origin : options.control.work_origins) origin = {-301.0, 77.0, 12.5, 0, 0, 0};
  const RehearsalReport odd = run(loop, options, loop.sheet);
  CHECK(odd.passed);
  CHECK(odd.touches.size() == plain.touches.size());
  for (std::size_t i = 0; i < odd.touches.size(); ++i) {
    CHECK((odd.touches[i].moment.shown_mm - plain.touches[i].moment.shown_mm).norm() < 1e-3);
  }
}

/// The sheet to fill in with the least a control can have: alarm, log, modal and rotary position
/// variables left open. Without `brake` nothing stops it on a condition.
ControlSheet generic(bool trip_position, bool brake = true) {
  ControlSheet sheet = read_control_sheet(test::in_source("routines/macro.toml")).value();
  // It knows neither scaling nor rotation: their words stay open, all others are given below.
  std::erase_if(sheet.open, [](const std::string& slot) {
    return !slot.starts_with("words.scaling-") && !slot.starts_with("words.rotation-");
  });
  sheet.variables.readable = {1, 2999};
  sheet.variables.working = {100, 199};
  sheet.variables.table = {500, 599};
  sheet.variables.results = VariableRange{600, 2900};
  sheet.words[Meaning::skip] = {"G38.2"};
  sheet.skip.untriggered = WhenUntriggered::goes_on;
  sheet.stops.root_of_negative_stops = brake;
  sheet.offsets.own_system = 6;
  if (trip_position) sheet.skip.trip_variable = {{'X', 2031}, {'Y', 2032}, {'Z', 2033}};
  return sheet;
}

TEST_CASE(
    "a generic sheet goes the whole way, the operator types each touch where nothing else can") {
  for (const bool trip_position : {true, false}) {
    for (const char* demo : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
      CAPTURE(trip_position);
      CAPTURE(demo);
      const Machine machine =
          read_machine(test::in_source(fmt::format("examples/{}.machine.toml", demo))).value();
      const Expected<DemoLoop> loop = test::demo_loop(machine, generic(trip_position), {});
      if (!loop) MESSAGE(test::all_of(loop.error()));
      REQUIRE(loop.has_value());
      const RehearsalReport report = run(*loop, test::options_for(*loop), loop->sheet);
      CAPTURE(test::all_of(report.run.problems));
      REQUIRE(report.passed);
      const Expected<Survey> survey = test::survey_of(*loop, report);
      if (!survey) MESSAGE(test::all_of(survey.error()));
      REQUIRE(survey.has_value());
      CHECK(survey->touches.size() == static_cast<std::size_t>(loop->plan.touch_count()));
      const bool typed =
          std::any_of(report.messages.begin(), report.messages.end(), [](const std::string& said) {
            return read_request(said).task == OperatorTask::type_position;
          });
      CHECK(typed == !trip_position);
    }
  }
}

TEST_CASE("a control that cannot stop on a condition: the operator looks at every check") {
  for (const char* demo : {"fourth-axis", "swivel-head"}) {
    CAPTURE(demo);
    const Machine machine =
        read_machine(test::in_source(fmt::format("examples/{}.machine.toml", demo))).value();
    const Expected<DemoLoop> loop = test::demo_loop(machine, generic(true, false), {});
    if (!loop) MESSAGE(test::all_of(loop.error()));
    REQUIRE(loop.has_value());
    RehearsalOptions options = test::options_for(*loop);
    const RehearsalReport right = run(*loop, options, loop->sheet);
    CAPTURE(test::all_of(right.run.problems));
    REQUIRE(right.passed);
    // Fast against slow, and touch against prediction, at every touch that measures.
    const auto looks =
        std::count_if(right.messages.begin(), right.messages.end(), [](const std::string& said) {
          return read_request(said).task == OperatorTask::look_at_value;
        });
    CHECK(looks >= 2 * loop->plan.touch_count());

    options.fault = Fault{FaultKind::moved_artefact, 25};
    const RehearsalReport moved = run(*loop, options, loop->sheet);
    CHECK(moved.run.end != ProgramEnd::finished);
    CHECK(moved.violations.empty());
    REQUIRE_FALSE(moved.run.problems.empty());
    CHECK(moved.run.problems.front().what.starts_with("the operator sees"));
  }
}

}  // namespace
}  // namespace pivotrace

// Whole rehearsals of small hand-written programs: where touches land, what is hit, what it takes.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <numbers>
#include <sstream>

#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/bench_machine.h"

namespace pivotrace {
namespace {

const ControlSheet& demo_control() {
  static const ControlSheet sheet =
      read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/demo-control.toml").value();
  return sheet;
}

struct Bench {
  Bench() {
    machine = test::bench_machine();
    truth = nominal_truth(machine);
    options.start_mm = {0, 0, 150};
    options.guard_mm = 5.0;
  }

  RehearsalReport run(const std::string& body) const {
    const Expected<RehearsalReport> report = rehearse("G21 G90 G94\nG54\n" + body + "M30\n", "p.nc",
                                                      machine, demo_control(), truth, options);
    REQUIRE(report.has_value());
    return *report;
  }

  Machine machine;
  RehearsalTruth truth;
  RehearsalOptions options;
};

/// Touches the ball (centre Z 50, R 10) with the 6 mm stylus from above; R + r = 13.
const char* pole_touch = "G38.2 Z60. F300.\nG1 Z150. F1000.\n";
/// Down beside the ball, then against its -X side.
const char* side_touch =
    "G0 X-30.\nG1 Z50. F1000.\nG38.2 X0. F60.\n#100=#2031\nG1 X-30. F1000.\nG1 Z150.\n";

TEST_CASE("a touch from above stops on the ball, at its top plus the stylus radius") {
  Bench bench;
  const RehearsalReport report = bench.run(pole_touch);
  CHECK(report.passed);
  REQUIRE(report.touches.size() == 1);
  CHECK(report.touches[0].body == "ball");
  CHECK(report.touches[0].artefact == 0);
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(63.0).epsilon(1e-12));
  CHECK(report.touches[0].moment.line == 3);
}

TEST_CASE("where the touch lands follows the truth: place, sizes, stylus offset, scale, drift") {
  const auto z_of_touch = [](const Bench& bench) {
    const RehearsalReport report = bench.run(pole_touch);
    REQUIRE(report.touches.size() == 1);
    return report.touches[0].moment.shown_mm.z();
  };
  Bench bench;
  bench.truth.survey.state.artefacts[0].point_mm.z() += 0.7;
  CHECK(z_of_touch(bench) == doctest::Approx(63.7).epsilon(1e-12));
  bench.truth.survey.state.artefacts[0].radius_mm += 0.01;
  CHECK(z_of_touch(bench) == doctest::Approx(63.71).epsilon(1e-12));
  bench.truth.survey.state.stylus_radius_mm -= 0.002;
  CHECK(z_of_touch(bench) == doctest::Approx(63.708).epsilon(1e-12));
  bench.truth.survey.state.stylus_offset_mm = {0, 0, 0.1};
  CHECK(z_of_touch(bench) == doctest::Approx(63.608).epsilon(1e-12));
  bench.truth.survey.state.stylus_offset_mm = {0, 0, 0};
  bench.truth.survey.linear_error(2, 2) = 100e-6;
  bench.truth.survey.linear_origin_mm = {0, 0, 0};
  CHECK(z_of_touch(bench) == doctest::Approx(63.708 / (1.0 + 100e-6)).epsilon(1e-12));
}

TEST_CASE("off the top by s the ball is met sqrt((R + r)^2 - s^2) above its centre") {
  Bench bench;
  const RehearsalReport report = bench.run("G0 X5.\nG38.2 Z55. F300.\n");
  REQUIRE(report.touches.size() == 1);
  CHECK(report.touches[0].moment.shown_mm.z() ==
        doctest::Approx(50.0 + std::sqrt(13.0 * 13.0 - 25.0)).epsilon(1e-12));
}

TEST_CASE("the trip point reaches the program through its variables and its log") {
  Bench bench;
  const RehearsalReport report =
      bench.run(std::string("NOTES ON\n") + side_touch + "NOTE #100:4.4 & 'END'\nNOTES OFF\n");
  for (const Problem& problem : report.run.problems) MESSAGE(describe(problem));
  CHECK(report.passed);
  CHECK(report.log == "-13.0000,END\n");
}

TEST_CASE("a trigger that is latched late lies the delay times the feed beyond") {
  Bench bench;
  bench.truth.trigger_delay_s = 0.002;
  const RehearsalReport report = bench.run("G38.2 Z60. F600.\n");
  REQUIRE(report.touches.size() == 1);
  // 600 mm/min = 10 mm/s, 2 ms: 0.02 mm further down.
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(62.98).epsilon(1e-12));
  // At rest: v^2 / 2a = 100 / 2000 = 0.05 mm more.
  CHECK(report.largest_overtravel_mm == doctest::Approx(0.07).epsilon(1e-6));
}

TEST_CASE("noise has its stated size and its seed reproduces it") {
  Bench bench;
  bench.options.noise.touch_sigma_mm = 0.002;
  std::string text;
  for (int k = 0; k < 400; ++k) text += pole_touch;
  const RehearsalReport first = bench.run(text);
  const RehearsalReport second = bench.run(text);
  REQUIRE(first.touches.size() == 400);
  double squares = 0.0;
  for (std::size_t k = 0; k < 400; ++k) {
    const double error = first.touches[k].moment.shown_mm.z() - 63.0;
    CHECK(second.touches[k].moment.shown_mm.z() == first.touches[k].moment.shown_mm.z());
    squares += error * error;
  }
  // chi-squared with 400 degrees of freedom: 0.0035 is five sigma of the estimate either way.
  CHECK(std::sqrt(squares / 400.0) == doctest::Approx(0.002).epsilon(0.18));
}

TEST_CASE("drift moves the tool away from the shown position with time") {
  Bench bench;
  bench.truth.survey.drift_mm_per_hour = {0, 0, 1.0};
  const RehearsalReport report = bench.run(std::string("G4 P1800\n") + pole_touch);
  REQUIRE(report.touches.size() == 1);
  // Half an hour: the tool really is 0.5 mm higher than shown, and a little more on the way down.
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(62.5).epsilon(1e-4));
}

TEST_CASE("turning the spindle by 180 deg turns the stylus offset and the lobes") {
  const auto x_of_touch = [](const Bench& bench, const std::string& spindle) {
    const RehearsalReport report = bench.run(spindle + side_touch);
    REQUIRE(report.touches.size() == 1);
    return report.touches[0].moment.shown_mm.x();
  };
  Bench bench;
  bench.truth.survey.state.stylus_offset_mm = {0.03, 0, 0};
  CHECK(x_of_touch(bench, "M19 D0.\n") == doctest::Approx(-13.03).epsilon(1e-9));
  CHECK(x_of_touch(bench, "M19 D180.\n") == doctest::Approx(-12.97).epsilon(1e-9));
  CHECK(x_of_touch(bench, "M0 (TURN THE SPINDLE TO 180 DEG AND HOLD IT)\n") ==
        doctest::Approx(-12.97).epsilon(1e-9));
  bench.truth.survey.state.stylus_offset_mm.setZero();
  bench.truth.survey.lobing_amplitude_mm = 0.004;
  // The touch is on the -X side, phi = 180 deg: cos 3 phi = -1, and +1 with the spindle turned.
  CHECK(x_of_touch(bench, "M19 D0.\n") == doctest::Approx(-12.996).epsilon(1e-9));
  CHECK(x_of_touch(bench, "M19 D180.\n") == doctest::Approx(-13.004).epsilon(1e-9));
}

TEST_CASE("turns: true axis line, index errors and reversal move the ball as they should") {
  // A at 90 deg, right-handed about X: the ball from Z +50 to Y -50.
  const char* touch = "G0 Y-50.\nG1 A90. F2000.\nG38.2 Z10. F300.\n#100=#5063\n";
  const auto z_of_touch = [&](const Bench& bench, const std::string& text) {
    const RehearsalReport report = bench.run(text);
    for (const Problem& problem : report.run.problems) MESSAGE(describe(problem));
    REQUIRE(report.touches.size() == 1);
    return report.touches[0].moment.shown_mm.z();
  };
  Bench bench;
  CHECK(z_of_touch(bench, touch) == doctest::Approx(13.0).epsilon(1e-9));
  bench.truth.survey.state.axis_lines[0].point_mm = {0, 0.2, 0.1};
  // The ball's arm from the line is (y, z) = (-0.2, 49.9), turned (-49.9, -0.2): the ball comes to
  // rest at y = 0.2 - 49.9, z = 0.1 - 0.2, and is met 0.3 mm beside its top.
  CHECK(z_of_touch(bench, touch) == doctest::Approx(-0.1 + std::sqrt(169.0 - 0.09)).epsilon(1e-9));
  bench.truth.survey.state.axis_lines[0].point_mm.setZero();
  bench.truth.index_errors.push_back({0, rad_from_deg(90.0), rad_from_deg(0.1)});
  const double slipped = rad_from_deg(90.1);
  const Eigen::Vector2d at(-50.0 * std::sin(slipped), 50.0 * std::cos(slipped));
  const double expected = at.y() + std::sqrt(169.0 - (at.x() + 50.0) * (at.x() + 50.0));
  CHECK(z_of_touch(bench, touch) == doctest::Approx(expected).epsilon(1e-9));
  bench.truth.index_errors.clear();
  bench.truth.survey.reversal_rad[0] = rad_from_deg(0.1);
  CHECK(z_of_touch(bench, touch) == doctest::Approx(expected).epsilon(1e-9));
}

TEST_CASE("collisions: the stylus ball, the shank and the holder, each with its line") {
  Bench bench;
  const auto first_violation = [](const RehearsalReport& report) {
    REQUIRE_FALSE(report.violations.empty());
    CHECK_FALSE(report.passed);
    CHECK(report.run.end == ProgramEnd::machine);
    return report.violations.back();
  };
  Violation hit = first_violation(bench.run("G1 Z60. F1000.\n"));
  CHECK(hit.number == ProblemNumber::collision);
  CHECK(hit.tool_part == ToolPart::stylus);
  CHECK(hit.body == "ball");
  CHECK(hit.moment.line == 3);
  CHECK(hit.moment.shown_mm.z() == doctest::Approx(63.0).epsilon(1e-3));

  hit = first_violation(bench.run("G0 X-30.\nG1 Z20. F1000.\nG1 X0.\n"));
  // Beside the stem (radius 4), 30 mm under the ball's centre: the stem is met at X -7, the ball's
  // flank by the shank (radius 2) at X -12.
  CHECK(hit.tool_part == ToolPart::shank);
  CHECK(hit.body == "ball");
  CHECK(hit.moment.shown_mm.x() == doctest::Approx(-12.0).epsilon(1e-3));

  Obstacle post;
  post.name = "post";
  post.shape = ObstacleShape::cylinder;
  post.from_mm = {60, 0, 0};
  post.to_mm = {60, 0, 120};
  post.diameter_mm = 10.0;
  bench.machine.obstacles.push_back(post);
  hit = first_violation(bench.run("G1 Z80. F1000.\nG1 X55.\n"));
  CHECK(hit.tool_part == ToolPart::stylus);
  CHECK(hit.body == "post");
  CHECK(hit.moment.shown_mm.x() == doctest::Approx(52.0).epsilon(1e-3));
  hit = first_violation(bench.run("G0 Y30. X60.\nG1 Z69. F1000.\nG1 Y20.\n"));
  CHECK(hit.tool_part == ToolPart::holder);
  CHECK(hit.body == "post");
  CHECK(hit.moment.shown_mm.y() == doctest::Approx(25.0).epsilon(1e-3));
}

TEST_CASE("a turn that swings the ball into the stylus is a collision") {
  Bench bench;
  const RehearsalReport report = bench.run("G0 Y-50.\nG1 Z0. F1000.\nG1 A180. F1000.\n");
  CHECK(report.run.end == ProgramEnd::machine);
  REQUIRE_FALSE(report.violations.empty());
  CHECK(report.violations.back().number == ProblemNumber::collision);
  CHECK(report.violations.back().body == "ball");
  CHECK(report.violations.back().moment.line == 5);
}

TEST_CASE("a probe move that meets an obstacle triggers there and is told from an artefact") {
  Bench bench;
  Obstacle block;
  block.name = "block";
  block.from_mm = {80, -20, 40};
  block.to_mm = {120, 20, 100};
  bench.machine.obstacles.push_back(block);
  const RehearsalReport report = bench.run("G0 X100.\nG38.2 Z60. F300.\n");
  REQUIRE(report.touches.size() == 1);
  CHECK(report.touches[0].body == "block");
  CHECK(report.touches[0].artefact == -1);
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(103.0).epsilon(1e-6));
}

TEST_CASE("rapid moves and turns near anything are violations, feed moves are not") {
  Bench bench;
  RehearsalReport report = bench.run("G0 Z67.\nG0 Z150.\n");
  CHECK_FALSE(report.passed);
  CHECK(report.run.end == ProgramEnd::finished);
  REQUIRE(report.violations.size() == 2);
  CHECK(report.violations[0].number == ProblemNumber::unguarded_move);
  CHECK(report.violations[0].moment.line == 3);
  CHECK(bench.run("G1 Z67. F500.\nG1 Z150.\n").passed);
  CHECK(bench.run("G0 Z68.1\nG0 Z150.\n").passed);
  report = bench.run("G1 Z67. F500.\nG1 A5. F500.\n");
  REQUIRE_FALSE(report.violations.empty());
  CHECK(report.violations[0].number == ProblemNumber::unguarded_move);
  bench.options.guard_mm = 1.0;
  CHECK(bench.run("G0 Z67.\nG0 Z150.\n").passed);
  // A rapid move straight off a touched surface starts inside the guard distance as well.
  report = bench.run("G38.2 Z60. F300.\nG0 Z150.\n");
  REQUIRE(report.violations.size() == 1);
  CHECK(report.violations[0].number == ProblemNumber::unguarded_move);
  CHECK(report.violations[0].moment.line == 4);
  CHECK(bench.run("G38.2 Z60. F300.\nG1 Z66. F500.\nG0 Z150.\n").passed);
}

TEST_CASE(
    "a rapid move of two slides is checked on the path of a control that does not coordinate") {
  Bench bench;
  Obstacle post;
  post.name = "post";
  post.shape = ObstacleShape::cylinder;
  post.from_mm = {40, 40, 0};
  post.to_mm = {40, 40, 200};
  post.diameter_mm = 4.0;
  bench.machine.obstacles.push_back(post);
  bench.options.start_mm = {-60, 0, 150};
  // The straight way to (140, 60) passes the post 12 mm off; 60 mm of both slides first, then X
  // alone, runs past it at Y 60.
  bench.machine.probe.holder_diameter_mm = 8.0;
  RehearsalReport straight = bench.run("G1 X140. Y60. F3000.\n");
  CHECK(straight.passed);
  bench.options.start_mm = {-60, -60, 150};
  RehearsalReport rapid = bench.run("G0 X140. Y40.\n");
  CHECK_FALSE(rapid.passed);
}

TEST_CASE("travel limits stop the machine before it moves") {
  Bench bench;
  RehearsalReport report = bench.run("G0 X301.\n");
  CHECK(report.run.end == ProgramEnd::machine);
  REQUIRE(report.violations.size() == 1);
  CHECK(report.violations[0].number == ProblemNumber::travel_exceeded);
  CHECK(report.end.shown_mm.x() == 0.0);
  report = bench.run("G0 A361.\n");
  CHECK(report.violations.at(0).number == ProblemNumber::travel_exceeded);
  report = bench.run("G0 C10.\n");
  CHECK(report.violations.at(0).text.find("does not have") != std::string::npos);
}

TEST_CASE("clamps, spindle and coolant") {
  Bench bench;
  bench.machine.rotary[0].clamp = "M10";
  bench.machine.rotary[0].unclamp = "M11";
  CHECK(bench.run("M11\nG0 A5.\nM10\n").passed);
  CHECK(bench.run("M10\nG0 A5.\n").run.end == ProgramEnd::machine);
  const RehearsalReport loose = bench.run(std::string("M11\n") + pole_touch);
  REQUIRE(loose.notes.size() == 1);
  CHECK(loose.notes[0].find("not clamped") != std::string::npos);
  CHECK(bench.run("M3\n").run.end == ProgramEnd::machine);
}

TEST_CASE("length datum tip: the control counts from the stylus tip, a radius below the centre") {
  Bench bench;
  bench.machine.probe.length_datum = LengthDatum::tip;
  const RehearsalReport report = bench.run(pole_touch);
  REQUIRE(report.touches.size() == 1);
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(60.0).epsilon(1e-9));
}

TEST_CASE("time: rest to rest with the acceleration of the machine") {
  Bench bench;
  bench.machine.linear.rapid_mm_per_min = 6000.0;  // 100 mm/s
  bench.machine.linear.acceleration_mm_per_s2 = 1000.0;
  // 90 mm: 0.9 s + 0.1 s. 2.5 mm: 2 sqrt(0.0025) = 0.1 s. 10 mm at 600 mm/min: 1 s + 0.01 s.
  CHECK(bench.run("G0 X90.\n").seconds == doctest::Approx(1.0));
  CHECK(bench.run("G0 X2.5\n").seconds == doctest::Approx(0.1));
  CHECK(bench.run("G1 X10. F600.\n").seconds == doctest::Approx(1.01));
  bench.machine.rotary[0].speed_rad_per_s = rad_from_deg(20.0);
  CHECK(bench.run("G0 A90.\n").seconds == doctest::Approx(4.7));
  const RehearsalReport report = bench.run("G0 A90.\nG4 P2000\nG0 A0.\n");
  double shares = 0.0;
  for (const StationTime& station : report.stations) shares += station.seconds;
  CHECK(shares == doctest::Approx(report.seconds));
}

TEST_CASE("time: each kind of move against its closed form") {
  Bench bench;
  Machine& machine = bench.machine;
  machine.linear.rapid_mm_per_min = 9000.0;  // 150 mm/s
  machine.linear.acceleration_mm_per_s2 = 1500.0;
  machine.rotary[0].speed_rad_per_s = rad_from_deg(40.0);
  bench.options.start_mm = {-200, 100, 200};
  const double a = 1500.0;
  // Trapezoid d/v + v/a where d > v^2/a, else triangle 2 sqrt(d/a).
  const auto linear = [a](double d, double v) {
    return d > v * v / a ? d / v + v / a : 2.0 * std::sqrt(d / a);
  };
  const auto seconds = [&](const std::string& text) { return bench.run(text).seconds; };
  for (const double d : {0.5, 5.0, 14.9, 15.1, 60.0, 190.0}) {
    CAPTURE(d);
    CHECK(seconds(fmt::format("G91\nG0 X{:.4f}\n", d)) == doctest::Approx(linear(d, 150.0)));
    CHECK(seconds(fmt::format("G91\nG1 X{:.4f} F3000.\n", d)) == doctest::Approx(linear(d, 50.0)));
    // Several slides in rapid: the longest way decides. In feed: the length of the path.
    CHECK(seconds(fmt::format("G91\nG0 X{:.4f} Y{:.4f}\n", d, 0.5 * d)) ==
          doctest::Approx(linear(d, 150.0)));
    CHECK(seconds(fmt::format("G91\nG1 X{:.4f} Y{:.4f} F3000.\n", 0.6 * d, 0.8 * d)) ==
          doctest::Approx(linear(d, 50.0)).epsilon(1e-3));
  }
  // No feed is faster than rapid.
  CHECK(seconds("G91\nG1 X90. F99999.\n") == doctest::Approx(linear(90.0, 150.0)));
  // Turns: run-up in 0.2 s to 40 deg/s, so v^2/a = 8 deg; by feed in deg/min where no slide moves.
  CHECK(seconds("G0 A90.\n") == doctest::Approx(90.0 / 40.0 + 0.2));
  CHECK(seconds("G0 A4.\n") == doctest::Approx(2.0 * std::sqrt(4.0 / 200.0)));
  CHECK(seconds("G1 A90. F600.\n") == doctest::Approx(90.0 / 10.0 + 10.0 / 200.0));
  CHECK(seconds("G1 A90. F9999.\n") == doctest::Approx(90.0 / 40.0 + 0.2));
  // Inverse time: F moves a minute, unless the machine cannot.
  CHECK(seconds("G93\nG1 X-190. F20.\n") == doctest::Approx(3.0));
  CHECK(seconds("G93\nG1 A90. F6.\n") == doctest::Approx(10.0));
  CHECK(seconds("G93\nG1 A90. F6000.\n") == doctest::Approx(90.0 / 40.0 + 0.2));
  // A touch ends where the slides come to rest: 5 mm/s, 20 ms late and 25/3000 mm of braking.
  bench.options.start_mm = {0, 0, 150};
  bench.truth.trigger_delay_s = 0.02;
  CHECK(seconds("G38.2 Z60. F300.\n") ==
        doctest::Approx(linear(150.0 - 63.0 + 0.1 + 25.0 / 3000.0, 5.0)));
}

TEST_CASE("a probe move of no length, free and touching, moves nothing") {
  Bench bench;
  RehearsalReport report = bench.run("G38.2 Z150. F300.\n");
  CHECK(report.touches.empty());
  CHECK(report.end.shown_mm == Eigen::Vector3d(0, 0, 150));
  report = bench.run("G38.2 Z60. F300.\n#100=#5063\nG38.2 Z#100 F300.\nG91\nG38.2 Z0. F300.\n");
  CHECK(report.end.shown_mm.allFinite());
  CHECK(std::isfinite(report.seconds));
  CHECK(report.end.shown_mm.z() == doctest::Approx(63.0).epsilon(1e-3));
}

TEST_CASE("a stylus pressed past a missed trigger still collides with what stands behind") {
  Bench bench;
  bench.options.overtravel_limit_mm = 40.0;
  bench.options.fault = Fault{FaultKind::no_trigger, 1};
  // 12 mm beside the ball's middle the missed stylus is pressed 1 mm into its flank.
  const char* past = "G0 X30. Y12.\nG1 Z50. F1000.\nG38.2 X-60. F300.\n";
  CHECK(bench.run(past).run.end == ProgramEnd::finished);
  Obstacle post;
  post.name = "post";
  post.shape = ObstacleShape::cylinder;
  post.from_mm = {-40, 12, 0};
  post.to_mm = {-40, 12, 60};
  post.diameter_mm = 10.0;
  bench.machine.obstacles.push_back(post);
  const RehearsalReport report = bench.run(past);
  CHECK(report.run.end == ProgramEnd::machine);
  REQUIRE_FALSE(report.violations.empty());
  CHECK(report.violations.back().body == "post");
  CHECK(report.violations.back().moment.shown_mm.x() == doctest::Approx(-32.0).epsilon(1e-3));
}

TEST_CASE("made-up faults: words and numbers") {
  CHECK(fault_from_text("no-trigger:5")->touch == 5);
  CHECK(fault_from_text("index-slip")->touch == 0);
  CHECK(fault_from_text("early-trigger")->touch == 1);
  for (const char* text : {"", "no-trigger:", "no-trigger:0", "no-trigger:x", "nothing:1",
                           "wrong-turn:-1", "no-trigger:5 "}) {
    CAPTURE(text);
    CHECK_FALSE(fault_from_text(text).has_value());
  }
  for (const std::string& word : fault_words()) {
    const Expected<Fault> fault = fault_from_text(word + ":3");
    REQUIRE(fault.has_value());
    CHECK(fault_text(*fault) == word + ":3");
  }
}

TEST_CASE("made-up faults: missed, early, moved, wrong way, slipped") {
  Bench bench;
  bench.options.fault = Fault{FaultKind::no_trigger, 2};
  const std::string two = std::string(pole_touch) + pole_touch;
  RehearsalReport report = bench.run(two);
  CHECK(report.touches.size() == 1);
  CHECK(report.largest_overtravel_mm == doctest::Approx(3.0).epsilon(1e-6));
  bench.options.overtravel_limit_mm = 2.0;
  CHECK(bench.run(two).run.end == ProgramEnd::machine);
  bench.options.overtravel_limit_mm = 6.0;

  bench.options.fault = Fault{FaultKind::early_trigger, 1};
  report = bench.run(two);
  REQUIRE(report.touches.size() == 2);
  CHECK(report.touches[0].body == "nothing");
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(150.0 - 43.5));
  CHECK(report.touches[1].moment.shown_mm.z() == doctest::Approx(63.0));

  bench.options.fault = Fault{FaultKind::moved_artefact, 2};
  report = bench.run(two);
  REQUIRE(report.touches.size() == 2);
  CHECK(report.touches[0].moment.shown_mm.z() == doctest::Approx(63.0));
  // 3 mm along (2, -1, 2)/3: 2 mm up, sqrt(5) mm beside.
  CHECK(report.touches[1].moment.shown_mm.z() ==
        doctest::Approx(52.0 + std::sqrt(169.0 - 5.0)).epsilon(1e-9));

  const char* turned = "G0 Y-50.\nG1 A90. F2000.\nG38.2 Z10. F300.\n";
  bench.options.fault = Fault{FaultKind::wrong_turn, 0};
  CHECK(bench.run(turned).touches.empty());
  bench.options.fault = Fault{FaultKind::index_slip, 0};
  report = bench.run(turned);
  REQUIRE(report.touches.size() == 1);
  CHECK(report.touches[0].moment.shown_mm.z() < 13.0 - 0.5);
}

TEST_CASE("a stylus that is touching when a probe move begins triggers at once") {
  Bench bench;
  const RehearsalReport report = bench.run("G38.2 Z60. F300.\nG38.2 Z60. F300.\nG1 Z150. F500.\n");
  REQUIRE(report.touches.size() == 2);
  CHECK(report.touches[1].moment.shown_mm.z() < report.touches[0].moment.shown_mm.z() + 1e-9);
}

TEST_CASE("report and picture say what happened") {
  Bench bench;
  const RehearsalReport report = bench.run("G1 Z60. F1000.\n");
  const std::string text = rehearsal_text(report, bench.machine);
  CHECK(text.find("NOT PASSED") != std::string::npos);
  CHECK(text.find("stylus ball hits ball") != std::string::npos);
  CHECK(text.find("line 3") != std::string::npos);
  const std::string json = rehearsal_json(report, bench.machine);
  CHECK(json.find("\"passed\": false") != std::string::npos);
  PictureSubject subject = picture_subject(report);
  CHECK(subject.tool_part == ToolPart::stylus);
  CHECK(subject.body == "ball");
  CHECK(subject.moment.line == 3);
  subject.title = "a <b> & c";
  const std::string svg = rehearsal_picture(bench.machine, report.state_at_end, subject);
  CHECK(svg.find("a &lt;b&gt; &amp; c") != std::string::npos);
  CHECK(svg.find("</svg>") != std::string::npos);
}

TEST_CASE("options that make no sense are refused") {
  Bench bench;
  bench.options.guard_mm = -1.0;
  bench.options.overtravel_limit_mm = 0.0;
  const Expected<RehearsalReport> report =
      rehearse("M30\n", "p.nc", bench.machine, demo_control(), bench.truth, bench.options);
  REQUIRE_FALSE(report.has_value());
  CHECK(report.error().size() == 2);
}

}  // namespace
}  // namespace pivotrace

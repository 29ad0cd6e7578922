// Each systematic effect of a truth file, put into a rehearsal without noise, comes back from the
// fit of what the control logged: where it should show, as large as it is, and nowhere else.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <Eigen/Geometry>
#include <cmath>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/report/rehearsal_text.h"
#include "pivotrace/results/beside_truth.h"
#include "rehearsal/demo_loop.h"

namespace pivotrace {
namespace {

using test::DemoLoop;

/// The log carries four decimals.
constexpr double log_rounding_mm = 5e-5;
/// The demo's ball turns at about this radius.
constexpr double orbit_mm = 60.0;

DemoLoop fourth_axis(bool flip = false) {
  const Machine machine =
      read_machine(test::in_source("examples/fourth-axis.machine.toml")).value();
  const ControlSheet demo_control =
      read_control_sheet(test::in_source("routines/demo-control.toml")).value();
  PlanRequest request;
  request.purpose = Purpose::commissioning;
  request.flip = flip;
  return test::demo_loop(machine, demo_control, request).value();
}

RehearsalReport rehearsed(const DemoLoop& loop, const RehearsalTruth& truth) {
  const Expected<RehearsalReport> report =
      rehearse(loop.program.text, "p.nc", loop.machine, loop.sheet, truth, test::options_for(loop));
  REQUIRE(report.has_value());
  CAPTURE(rehearsal_text(*report, loop.machine));
  REQUIRE(report->passed);
  return *report;
}

FitResult fitted(const DemoLoop& loop, const RehearsalReport& report,
                 const std::vector<OptionalUnknown>& unknowns = {}) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  REQUIRE(survey.has_value());
  FitOptions options;
  options.unknowns = unknowns;
  options.screen = false;  // nothing here is a blunder
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey, options);
  if (!fit) MESSAGE(test::all_of(fit.error()));
  REQUIRE(fit.has_value());
  return *fit;
}

double effect(const FitResult& fit, const std::string& name) {
  for (const EffectResult& found : fit.effects) {
    if (text_of(found.name) == name) return found.estimate.value;
  }
  FAIL("the fit has no effect " << name);
  return 0.0;
}

/// Largest difference of any location [mm] and of any orientation over 100 mm [mm] to the truth.
double largest_error_mm(const FitResult& fit, const DemoLoop& loop, const RehearsalTruth& truth) {
  double largest = 0.0;
  for (const ValueBesideTruth& value : beside_truth(fit, Survey{}, loop.machine, truth)) {
    const double over_100_mm = is_angle(value.name) ? 100.0 : 1.0;
    largest = std::max(largest, over_100_mm * std::fabs(value.fitted - value.truth));
  }
  return largest;
}

TEST_CASE("effects: three lobes come back as cosine and sine, and leave the axis alone") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.survey.lobing_amplitude_mm = 0.004;
  truth.survey.lobing_phase_rad = rad_from_deg(25.0);
  const FitResult fit = fitted(loop, rehearsed(loop, truth), {OptionalUnknown::lobing});
  CHECK(std::fabs(effect(fit, "lobing.cosine") - 0.004 * std::cos(rad_from_deg(75.0))) <=
        log_rounding_mm);
  CHECK(std::fabs(effect(fit, "lobing.sine") - 0.004 * std::sin(rad_from_deg(75.0))) <=
        log_rounding_mm);
  CHECK(largest_error_mm(fit, loop, truth) <= 2.0 * log_rounding_mm);
}

TEST_CASE("effects: a stylus off the spindle axis comes back when the spindle is turned") {
  const DemoLoop loop = fourth_axis(true);
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.survey.state.stylus_offset_mm = {0.012, -0.007, 0.0};
  const FitResult fit = fitted(loop, rehearsed(loop, truth), {OptionalUnknown::stylus_offset});
  CHECK(std::fabs(effect(fit, "stylus offset.X") - 0.012) <= log_rounding_mm);
  CHECK(std::fabs(effect(fit, "stylus offset.Y") + 0.007) <= log_rounding_mm);
  CHECK(largest_error_mm(fit, loop, truth) <= 2.0 * log_rounding_mm);
}

TEST_CASE("effects: squareness and scale of the slides in the orbit's plane come back") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.survey.linear_origin_mm = loop.machine.rotary[0].centre_mm;
  truth.survey.linear_error(1, 2) = 150e-6;  // Z leans towards +Y
  truth.survey.linear_error(2, 2) = -80e-6;  // and its scale is short, beside that of Y
  const RehearsalReport report = rehearsed(loop, truth);
  const FitResult fit = fitted(loop, report, {OptionalUnknown::squareness, OptionalUnknown::scale});
  const double bound = 4.0 * log_rounding_mm / orbit_mm;
  CHECK(std::fabs(effect(fit, "squareness.YZ") - 150e-6) <= bound);
  CHECK(std::fabs(effect(fit, "scale.Z") + 80e-6) <= bound);
  CHECK(largest_error_mm(fit, loop, truth) <= 4.0 * log_rounding_mm);
}

TEST_CASE("effects: the truth file's squareness of each plane is the one fit states") {
  // Three machines, one axis along each of X, Y, Z: planes YZ, ZX, XY.
  const ControlSheet demo_control =
      read_control_sheet(test::in_source("routines/demo-control.toml")).value();
  const char* const planes[] = {"squareness.YZ", "squareness.ZX", "squareness.XY"};
  const int cells[][2] = {{1, 2}, {0, 2}, {0, 1}};
  for (int along = 0; along < 3; ++along) {
    CAPTURE(planes[along]);
    Machine machine = read_machine(test::in_source("examples/fourth-axis.machine.toml")).value();
    machine.obstacles.clear();
    RotaryAxis& axis = machine.rotary[0];
    axis.letter = "ABC"[along];
    axis.along = static_cast<LinearAxis>(along);
    axis.direction = Eigen::Vector3d::Unit(along);
    axis.quote_at_mm = axis.centre_mm[along];
    const Eigen::Vector3d out =
        along == 2 ? Eigen::Vector3d(orbit_mm, 0, 50) : Eigen::Vector3d(0, 0, orbit_mm);
    machine.artefacts[0].at_mm = axis.centre_mm + out;
    const Expected<DemoLoop> loop = test::demo_loop(machine, demo_control, {});
    if (!loop) MESSAGE(test::all_of(loop.error()));
    REQUIRE(loop.has_value());
    RehearsalTruth truth = nominal_truth(machine);
    truth.survey.linear_origin_mm = axis.centre_mm;
    truth.survey.linear_error(cells[along][0], cells[along][1]) = 200e-6;
    const FitResult fit = fitted(*loop, rehearsed(*loop, truth), {OptionalUnknown::squareness});
    CHECK(std::fabs(effect(fit, planes[along]) - 200e-6) <= 6.0 * log_rounding_mm / orbit_mm);
  }
}

TEST_CASE("effects: drift moves the centre by what has crept in until the middle of the survey") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  const FitResult still = fitted(loop, rehearsed(loop, truth));
  truth.survey.drift_mm_per_hour = {0.0, 0.06, -0.09};
  const RehearsalReport report = rehearsed(loop, truth);
  const FitResult fit = fitted(loop, report);
  // The slow touches: what the log holds. The plan goes there and back, so steady drift is that of
  // the mean time; its unevenness over the stations is worth a tenth of the drift of the run.
  double sum_s = 0.0;
  int count = 0;
  for (const RehearsedTouch& touch : report.touches) {
    if (touch.feed_mm_per_min > loop.plan.feeds.measure * 1.001) continue;
    sum_s += touch.time_s;
    ++count;
  }
  REQUIRE(count > 0);
  const double hours = sum_s / count / 3600.0;
  for (std::size_t k = 0; k < 2; ++k) {
    const int axis = component(fit.axes[0].centre[k].name);
    const double tenth =
        0.1 * std::fabs(truth.survey.drift_mm_per_hour[axis]) * report.seconds / 3600.0;
    const double moved =
        fit.axes[0].centre[k].estimate.value - still.axes[0].centre[k].estimate.value;
    CHECK(std::fabs(moved + truth.survey.drift_mm_per_hour[axis] * hours) <=
          tenth + log_rounding_mm);
    CHECK(std::fabs(moved) > 4.0 * tenth);
  }
}

TEST_CASE("effects: reversal turns the ball, and the axis stays where it is") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.survey.reversal_rad[0] = rad_from_arcsec(60.0);
  const FitResult fit = fitted(loop, rehearsed(loop, truth));
  // Every angle is reached from below: each lies 60 arcsec further on, as if the ball had been
  // mounted turned by that about the axis.
  const Line& axis = truth.survey.state.axis_lines[0];
  const double sign = turn_sign(loop.machine.rotary[0].positive_turn);
  const Eigen::Vector3d ball_mm =
      axis.point_mm + turned<double>(truth.survey.state.artefacts[0].point_mm - axis.point_mm,
                                     axis.direction, sign * rad_from_arcsec(60.0));
  for (int k = 0; k < 3; ++k) {
    CHECK(std::fabs(fit.artefacts[0].position[k].value - ball_mm[k]) <= 2.0 * log_rounding_mm);
  }
  CHECK((ball_mm - truth.survey.state.artefacts[0].point_mm).norm() > 0.015);
  CHECK(largest_error_mm(fit, loop, truth) <= 2.0 * log_rounding_mm);
}

TEST_CASE("effects: an index error shows as the tangential deviation of its station") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  const double error_rad = rad_from_arcsec(20.0);
  truth.index_errors.push_back({0, rad_from_deg(90.0), error_rad});
  const FitResult fit = fitted(loop, rehearsed(loop, truth));
  const double expected_mm =
      turn_sign(loop.machine.rotary[0].positive_turn) * error_rad *
      (truth.survey.state.artefacts[0].point_mm - truth.survey.state.axis_lines[0].point_mm)
          .tail<2>()
          .norm();
  double at_90 = 0.0;
  double others = 0.0;
  int count_90 = 0;
  int count_others = 0;
  for (const StationResult& station : fit.stations) {
    if (!station.resolved) continue;
    const bool here = std::fabs(deg_from_rad(station.angles_rad[0]) - 90.0) < 0.01;
    (here ? at_90 : others) += station.tangential_mm;
    ++(here ? count_90 : count_others);
  }
  REQUIRE(count_90 > 0);
  REQUIRE(count_others > 0);
  // The fit spreads part of it over the other stations: their difference is the error.
  CHECK(at_90 / count_90 - others / count_others == doctest::Approx(expected_mm).epsilon(0.1));
}

TEST_CASE("effects: a trigger latched late makes the ball smaller by delay times slow feed") {
  const DemoLoop loop = fourth_axis();
  RehearsalTruth truth = nominal_truth(loop.machine);
  truth.trigger_delay_s = 0.003;
  const FitResult fit = fitted(loop, rehearsed(loop, truth));
  const double later_mm = truth.trigger_delay_s * loop.plan.feeds.measure / 60.0;
  // The stated diameters hold the sum of ball and stylus back by their weight; all of it shows in
  // what is left over: mean residual + half the change of the sum.
  double residual = 0.0;
  for (const TouchResult& touch : fit.touches) residual += touch.residual_mm;
  residual /= static_cast<double>(fit.touches.size());
  REQUIRE(fit.artefacts[0].effective_diameter.has_value());
  const double nominal_sum =
      *loop.machine.artefacts[0].diameter_mm + loop.machine.probe.stylus_diameter_mm;
  const double shrunk = 0.5 * (nominal_sum - fit.artefacts[0].effective_diameter->value);
  CHECK(shrunk - residual == doctest::Approx(later_mm).epsilon(0.2));
  CHECK(largest_error_mm(fit, loop, truth) <= 0.5 * later_mm);
}

}  // namespace
}  // namespace pivotrace

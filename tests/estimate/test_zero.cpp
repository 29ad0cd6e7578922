// The zero of an axis: where the touches can tell it, they tell it truly; where they cannot, it is left open.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <Eigen/Geometry>
#include <boost/math/distributions/binomial.hpp>

#include "machines.h"
#include "pivotrace/contact/eigen.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/survey/random_stream.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

FitResult fitted(const Machine& machine, const Survey& survey) {
  const Expected<FitResult> result = fit_survey(machine, survey);
  INFO((result ? std::string() : describe(result.error().front())));
  REQUIRE(result.has_value());
  return *result;
}

/// What the axis carries stands turned about its line, right-handed, from where the file says.
void turn_what_it_carries(const Machine& machine, SurveyTruth& truth, int axis, double turn_rad) {
  const Line line = truth.state.axis_lines[axis];
  const Eigen::AngleAxisd turn(turn_rad, line.direction);
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    if (machine.artefacts[a].carried_by < axis) continue;
    ArtefactPlace& place = truth.state.artefacts[a];
    place.point_mm = line.point_mm + turn * (place.point_mm - line.point_mm);
    place.direction = turn * place.direction;
  }
  for (std::size_t inner = axis + 1; inner < truth.state.axis_lines.size(); ++inner) {
    Line& carried = truth.state.axis_lines[inner];
    carried.point_mm = line.point_mm + turn * (carried.point_mm - line.point_mm);
    carried.direction = turn * carried.direction;
  }
}

/// A turns left-handed about X and carries a ball and a flat that looks along Y at 0.
Scenario with_edge(std::uint64_t seed) {
  Scenario s = fourth_axis(8, 5, seed);
  s.machine.artefacts.push_back(
      artefact("edge", ArtefactKind::flat, 0, {-250, -160, -250}, Eigen::Vector3d::UnitY()));
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  for (StationTarget& station : s.stations) {
    station.touches = joined(station.touches, all_round(s.machine, 1, station.angles_rad));
  }
  return s;
}

Scenario without_noise(Scenario s) {
  s.noise = {};
  return s;
}

}  // namespace

TEST_CASE("nothing stated, nothing told") {
  const Scenario s = with_edge(1);
  CHECK_FALSE(fitted(s.machine, survey_of(s)).axes[0].zero.has_value());
}

TEST_CASE("a face of stated direction tells the zero of the axis that carries it") {
  Scenario s = without_noise(with_edge(1));
  s.machine.artefacts[1].direction_u_rad = rad_from_arcsec(8.0);
  turn_what_it_carries(s.machine, s.truth, 0, 0.0003);
  const FitResult result = fitted(s.machine, survey_of(s));
  const AxisResult& axis = result.axes[0];
  REQUIRE(axis.zero.has_value());
  CHECK(axis.zero_by == "edge");
  // A positive command turns it the other way: it stands at less than 0.
  CHECK(axis.zero->value == doctest::Approx(-0.0003).epsilon(1e-5));
  CHECK(axis.zero->u_absolute > rad_from_arcsec(8.0));
  CHECK(axis.zero->u < axis.zero->u_absolute);
  const auto& names = result.covariance.names;
  const auto place = std::find(names.begin(), names.end(), axis_value('A', ValueKind::zero));
  REQUIRE(place != names.end());
  const Eigen::Index k = place - names.begin();
  CHECK(std::sqrt(result.covariance.absolute(k, k)) ==
        doctest::Approx(axis.zero->u_absolute).epsilon(1e-9));
}

TEST_CASE("a ball of stated place tells it as well, the better stated artefact speaks") {
  Scenario s = without_noise(with_edge(1));
  s.machine.artefacts[0].at_u_mm = 0.002;
  s.machine.artefacts[1].direction_u_rad = rad_from_arcsec(60.0);
  // The ball stands where the file says, seen from the axis line; then everything is turned.
  const Line nominal{s.machine.rotary[0].centre_mm, s.machine.rotary[0].direction};
  const Eigen::Vector3d arm = perpendicular_from_line(nominal, s.machine.artefacts[0].at_mm);
  const Line& line = s.truth.state.axis_lines[0];
  Eigen::Vector3d& ball = s.truth.state.artefacts[0].point_mm;
  ball += arm - perpendicular_from_line(line, ball);
  turn_what_it_carries(s.machine, s.truth, 0, 0.001);
  const AxisResult axis = fitted(s.machine, survey_of(s)).axes[0];
  REQUIRE(axis.zero.has_value());
  CHECK(axis.zero_by == "ball");
  CHECK(axis.zero->value == doctest::Approx(-0.001).epsilon(1e-3));
}

TEST_CASE("a table face tells the zero of the axis outside the table, an edge that of the table") {
  Machine machine = machine_frame("invented trunnion");
  machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5),
                    rotary_axis('C', LinearAxis::Z, TurnSense::right_hand, {-300, -200, -230}, 5)};
  machine.artefacts = {
      ball("ball", 1, {-240, -200, -180}),
      artefact("face", ArtefactKind::flat, 1, {-300, -200, -210}, Eigen::Vector3d::UnitZ()),
      artefact("edge", ArtefactKind::flat, 1, {-300, -130, -215}, Eigen::Vector3d::UnitY())};
  machine.artefacts[1].direction_u_rad = rad_from_arcsec(5.0);
  machine.artefacts[2].direction_u_rad = rad_from_arcsec(5.0);
  Scenario s;
  s.machine = machine;
  s.truth = leaning_truth(machine, 0.0, 0.0);
  turn_what_it_carries(machine, s.truth, 0, 0.0002);
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    // C alone stands at its own zero error.
    ArtefactPlace& place = s.truth.state.artefacts[a];
    const Line& line = s.truth.state.axis_lines[1];
    const Eigen::AngleAxisd turn(-0.0005, line.direction);
    place.point_mm = line.point_mm + turn * (place.point_mm - line.point_mm);
    place.direction = turn * place.direction;
  }
  for (const double a : {-0.7, 0.0, 0.7}) {
    for (const double c : {0.0, 1.6, 3.1, 4.7}) {
      StationTarget target;
      target.angles_rad = {a, c};
      for (int what = 0; what < 3; ++what) {
        target.touches = joined(target.touches, all_round(machine, what, target.angles_rad));
      }
      s.stations.push_back(target);
    }
  }
  const FitResult result = fitted(machine, survey_of(s));
  REQUIRE(result.axes[0].zero.has_value());
  REQUIRE(result.axes[1].zero.has_value());
  CHECK(result.axes[0].zero_by == "face");
  CHECK(result.axes[1].zero_by == "edge");
  CHECK(result.axes[0].zero->value == doctest::Approx(-0.0002).epsilon(1e-3));
  CHECK(result.axes[1].zero->value == doctest::Approx(-0.0005).epsilon(1e-3));

  SUBCASE("and how high the face stands over the axis outside") {
    const auto& heights = result.artefacts[1].heights;
    REQUIRE(heights.size() == 1);
    CHECK(text_of(heights[0].name) == "face.height_over_A");
    // By hand: the face, 0.5 higher than said, over the line of A, both turned alike.
    const Line& line = s.truth.state.axis_lines[0];
    const ArtefactPlace& face = s.truth.state.artefacts[1];
    CHECK(heights[0].estimate.value ==
          doctest::Approx(face.direction.dot(face.point_mm - line.point_mm)).epsilon(1e-6));
    CHECK(heights[0].estimate.value == doctest::Approx(40.5).epsilon(1e-4));
    CHECK(heights[0].estimate.U95_absolute > 0.0);
    // The edge looks across A as well.
    REQUIRE(result.artefacts[2].heights.size() == 2);
    CHECK(text_of(result.artefacts[2].heights[0].name) == "edge.height_over_A");
  }

  SUBCASE("and the way from one axis to the other") {
    const AxisPairResult& pair = result.axis_pairs[0];
    const CommonNormal normal =
        common_normal(s.truth.state.axis_lines[0], s.truth.state.axis_lines[1]);
    const Eigen::Vector3d way = normal.foot_on_second_mm - normal.foot_on_first_mm;
    // A lies along X, C along Z: the way between them runs along Y.
    CHECK(std::abs(pair.offset[1].value - way[1]) < 1e-6);
    CHECK(std::abs(std::abs(pair.offset[1].value) - std::abs(pair.distance.value)) < 1e-6);
    CHECK(pair.offset[1].U95_absolute == doctest::Approx(pair.distance.U95_absolute).epsilon(1e-3));
    CHECK(std::isnan(pair.offset[0].value));
    CHECK(std::isnan(pair.offset[2].value));
  }
}

TEST_CASE("U95 of the zero holds the truth where the stated direction errs as stated") {
  constexpr int surveys = 200;
  constexpr std::uint64_t seed = 20261129;
  int held = 0;
  for (int k = 0; k < surveys; ++k) {
    Scenario s = with_edge(seed + static_cast<std::uint64_t>(k));
    s.machine.artefacts[1].direction_u_rad = rad_from_arcsec(10.0);
    RandomStream random(seed, static_cast<std::uint64_t>(k));
    const double zero_rad = 0.0005 * random.normal();
    const double misstated_rad = rad_from_arcsec(10.0) * random.normal();
    turn_what_it_carries(s.machine, s.truth, 0, -zero_rad);
    const Eigen::AngleAxisd turn(misstated_rad, Eigen::Vector3d::UnitX());
    s.truth.state.artefacts[1].direction = turn * s.truth.state.artefacts[1].direction;
    const AxisResult axis = fitted(s.machine, survey_of(s)).axes[0];
    REQUIRE(axis.zero.has_value());
    held += std::abs(axis.zero->value - zero_rad) <= axis.zero->U95_absolute ? 1 : 0;
  }
  INFO("seed ", seed, ": held in ", held, " of ", surveys);
  const boost::math::binomial_distribution<> chance(surveys, 0.95);
  CHECK(held >= quantile(chance, 0.001));
  // Exact sigmas, counted as uncertain: up to 98.5 % is honest.
  const boost::math::binomial_distribution<> wide(surveys, 0.985);
  CHECK(held <= quantile(complement(wide, 0.001)));
}

namespace {

/// A head B about Y over a ball on the bed, touched by styluses 100 apart, the spindle at both sides.
struct Head {
  Machine machine;
  SurveyTruth truth;

  Head() : machine(machine_frame("invented head")) {
    RotaryAxis head = rotary_axis('B', LinearAxis::Y, TurnSense::right_hand, {0, 0, 180}, 5);
    head.side = AxisSide::tool;
    machine.rotary = {head};
    machine.artefacts = {ball("ball", -1, {-300, -200, -350})};
    truth = leaning_truth(machine, 0.0003, 0.1);
  }

  /// Turned with the spindle: `run_out`; at rest: `way` from the first ball.
  Survey pass(const Eigen::Vector3d& way, const Eigen::Vector3d& run_out, bool flip) const {
    SurveyTruth with_stylus = truth;
    with_stylus.state.stylus_offset_mm =
        contact::as_eigen(contact::spindle_turned(contact::from_eigen(way), flip)) + run_out;
    MachineState aim = with_stylus.state;
    std::vector<StationTarget> stations;
    for (const double angle : {-1.2, -0.6, 0.0, 0.6, 1.2}) {
      StationTarget target;
      target.angles_rad = {angle};
      target.flip = flip;
      target.touches = ball_pattern(0, 5, 0.3, true);
      stations.push_back(target);
    }
    return synthesise_survey(machine, with_stylus, aim, stations, {}, Arrivals::one_side);
  }
};

void append(Survey& survey, Survey pass, int stylus) {
  const int stations = static_cast<int>(survey.stations.size());
  const int touches = static_cast<int>(survey.touches.size());
  for (Station& station : pass.stations) {
    station.first_touch += touches;
    station.label = std::to_string(survey.stations.size() + 1);
    survey.stations.push_back(station);
  }
  for (Touch& touch : pass.touches) {
    touch.station += stations;
    touch.stylus = stylus;
    touch.label = std::to_string(survey.touches.size() + 1);
    touch.time_s.reset();
    survey.touches.push_back(touch);
  }
}

}  // namespace

TEST_CASE("two stylus lengths at both sides of the spindle tell the zero of a head") {
  const Head head;
  constexpr double zero_rad = 0.0004;
  const Eigen::Vector3d way =
      Eigen::AngleAxisd(zero_rad, head.truth.state.axis_lines[0].direction) *
      Eigen::Vector3d(0, 0, -100);
  const Eigen::Vector3d run_outs[2] = {{0.006, -0.004, 0.0}, {-0.010, 0.012, 0.0}};
  Survey survey;
  survey.styluses = {"short", "long"};
  for (const bool flip : {false, true}) {
    append(survey, head.pass(Eigen::Vector3d::Zero(), run_outs[0], flip), 0);
    append(survey, head.pass(way, run_outs[1], flip), 1);
  }
  const FitResult result = fitted(head.machine, survey);
  REQUIRE(result.axes[0].zero.has_value());
  CHECK(result.axes[0].zero->value == doctest::Approx(zero_rad).epsilon(1e-4));
  CHECK(result.axes[0].zero->U95_absolute < rad_from_arcsec(20.0));

  SUBCASE("not without turning the spindle: 10 um of run-out would pass for 20 arcsec") {
    Survey one_side;
    one_side.styluses = survey.styluses;
    append(one_side, head.pass(Eigen::Vector3d::Zero(), run_outs[0], false), 0);
    append(one_side, head.pass(way, run_outs[1], false), 1);
    CHECK_FALSE(fitted(head.machine, one_side).axes[0].zero.has_value());
  }
}

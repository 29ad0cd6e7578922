#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "example_machine.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/report/drawing.h"
#include "pivotrace/report/plan_text.h"

using namespace pivotrace;
using pivotrace::testing::example;

namespace {

PlanOutcome planned(const Machine& machine, const PlanRequest& request) {
  auto outcome = make_plan(machine, request);
  if (!outcome) {
    for (const Problem& problem : outcome.error()) MESSAGE(describe(problem));
  }
  REQUIRE(outcome.has_value());
  return *outcome;
}

const PredictedOutput& output(const Plan& plan, const std::string& name) {
  for (const PredictedOutput& o : plan.predicted) {
    if (text_of(o.name) == name) return o;
  }
  FAIL("no output " << name);
  return plan.predicted.front();
}

bool mentions(const Problems& problems, const std::string& text) {
  for (const Problem& problem : problems) {
    if (problem.what.find(text) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("every purpose is planned for every example, and what is planned can be run") {
  for (const char* name : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    CAPTURE(name);
    Machine machine = example(name);
    // What two surveys may differ by beside their own errors is in no absolute value.
    machine.bounds.between_surveys_mm = 0.0;
    for (const Purpose purpose :
         {Purpose::commissioning, Purpose::periodic_check, Purpose::after_crash}) {
      CAPTURE(word_of(purpose));
      PlanRequest request;
      request.purpose = purpose;
      const PlanOutcome outcome = planned(machine, request);
      CHECK(check_plan(machine, outcome.plan).empty());
      CHECK(outcome.plan.self_find);
      CHECK_FALSE(outcome.plan.predicted.empty());
      CHECK_FALSE(outcome.limited_by.empty());
      for (const PredictedOutput& o : outcome.plan.predicted) {
        CHECK(std::isfinite(o.U95));
        CHECK(o.U95 <= o.U95_absolute * (1.0 + 1e-9));
      }
      // The drawing and the text name what they show.
      CHECK(draw_setup(machine, outcome.plan).find("</svg>") != std::string::npos);
      CHECK(plan_text(machine, outcome).find(identity_of(outcome.plan)) != std::string::npos);
    }
  }
}

TEST_CASE("stations are ordered so that drift does not become lean") {
  const Machine machine = example("fourth-axis");
  PlanRequest request;
  SUBCASE("there and back is mirrored in time") {
    request.order = StationOrder::there_and_back;
    const Plan plan = planned(machine, request).plan;
    const std::size_t n = plan.stations.size();
    for (std::size_t i = 0; i < n; ++i) {
      CHECK(plan.stations[i].angles_rad == plan.stations[n - 1 - i].angles_rad);
    }
  }
  SUBCASE("pairs: the second station is the farthest, the first comes again last") {
    request.order = StationOrder::pairs;
    request.stations = 4;
    request.axes = {'A'};
    const Plan plan = planned(machine, request).plan;
    CHECK(plan.stations.front().angles_rad == plan.stations.back().angles_rad);
    CHECK(std::abs(deg_from_rad(plan.stations[1].angles_rad[0])) == doctest::Approx(180.0));
  }
}

TEST_CASE("a free ball gets 5 touches round its equator and one on its pole") {
  const Plan plan = planned(example("fourth-axis"), {}).plan;
  const PlannedStation& first = plan.stations.front();
  REQUIRE(first.touches.size() == 6);
  int equator = 0;
  for (const PlannedTouch& touch : first.touches) equator += touch.up_rad == 0.0 ? 1 : 0;
  CHECK(equator == 5);
  CHECK(first.touches.back().up_rad == doctest::Approx(std::numbers::pi / 2));
}

TEST_CASE("an axis is approached from one side, inside its limits") {
  Machine machine = example("trunnion");
  const Plan plan = planned(machine, {}).plan;
  REQUIRE(plan.distances.turn_run_up_deg > 0.0);
  for (const PlannedStation& station : plan.stations) {
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
      const double run_up = station.angles_rad[i] - rad_from_deg(plan.distances.turn_run_up_deg);
      CHECK(machine.rotary[i].travel_rad.contains(run_up, 1e-9));
      CHECK(machine.rotary[i].travel_rad.contains(station.angles_rad[i], 1e-9));
    }
  }
}

TEST_CASE("a station the slides cannot reach is left out and said") {
  Machine machine = example("fourth-axis");
  machine.linear.travel_mm[1].high = -180.0;  // the ball swings out to Y = -140
  PlanRequest request;
  request.purpose = Purpose::commissioning;
  const PlanOutcome outcome = planned(machine, request);
  REQUIRE_FALSE(outcome.left_out.empty());
  bool said = false;
  for (const LeftOut& left : outcome.left_out) {
    said = said || left.reason.find("Y would have to go to") != std::string::npos;
  }
  CHECK(said);
  for (const PlannedStation& station : outcome.plan.stations) {
    CHECK(std::sin(station.angles_rad[0]) < 0.2);
  }
}

TEST_CASE("a plan that would leave too few stations is refused with every reason") {
  Machine machine = example("fourth-axis");
  machine.linear.travel_mm[1].high = -250.0;
  const auto outcome = make_plan(machine, {});
  REQUIRE_FALSE(outcome.has_value());
  CHECK(outcome.error().front().number == ProblemNumber::cannot_plan);
  CHECK(mentions(outcome.error(), "A 0"));
}

TEST_CASE("an edited plan is checked, and each danger is found") {
  const Machine machine = example("fourth-axis");
  Plan plan = planned(machine, {}).plan;
  REQUIRE(check_plan(machine, plan).empty());
  SUBCASE("safe height too low") {
    plan.distances.safe_height = -200.0;
    CHECK_FALSE(check_plan(machine, plan).empty());
  }
  SUBCASE("an angle beyond the travel") {
    plan.stations[1].angles_rad[0] = rad_from_deg(400.0);
    CHECK(mentions(check_plan(machine, plan), "A would have to turn"));
  }
  SUBCASE("run-up beyond the travel") {
    plan.stations[1].angles_rad[0] = rad_from_deg(-358.0);
    CHECK(mentions(check_plan(machine, plan), "A would have to turn to -363"));
  }
  SUBCASE("a touch on the stem") {
    // At A = 180 the stem points up into the probe.
    plan.stations[1].angles_rad[0] = rad_from_deg(180.0);
    plan.stations[1].touches = {{0, 0.0, rad_from_deg(90.0)}};
    CHECK(mentions(check_plan(machine, plan), "stem of ball"));
  }
  SUBCASE("an obstacle beside the ball") {
    Machine crowded = machine;
    Obstacle clamp;
    clamp.name = "clamp";
    clamp.carried_by = -1;
    clamp.from_mm = {-250, -210, -260};
    clamp.to_mm = {-245, -190, -170};
    crowded.obstacles.push_back(clamp);
    CHECK(mentions(check_plan(crowded, plan), "clamp"));
  }
  SUBCASE("a short stylus: the holder comes down on the ball") {
    Machine stubby = machine;
    stubby.probe.stylus_length_mm = 12.0;
    CHECK(mentions(check_plan(stubby, plan), "holder"));
  }
  SUBCASE("numbers that make no sense") {
    plan.distances.back_off = -1.0;
    CHECK(mentions(check_plan(machine, plan), "back_off"));
  }
}

TEST_CASE("rotary axes do not sweep obstacles into the waiting probe") {
  Machine machine = example("fourth-axis");
  const Plan plan = planned(machine, {}).plan;
  Obstacle mast;  // rises above the safe height when it is turned up
  mast.name = "mast";
  mast.carried_by = 0;
  mast.shape = ObstacleShape::cylinder;
  mast.from_mm = {-270, -200, -260};
  mast.to_mm = {-270, -200, -250 - 240};
  mast.diameter_mm = 10;
  machine.obstacles.push_back(mast);
  CHECK(mentions(check_plan(machine, plan), "mast"));
}

TEST_CASE("time asked for is time kept, and more time buys stations") {
  const Machine machine = example("fourth-axis");
  PlanRequest request;
  request.purpose = Purpose::minutes;
  request.minutes = 4.0;
  const PlanOutcome little = planned(machine, request);
  request.minutes = 9.0;
  const PlanOutcome much = planned(machine, request);
  CHECK(little.plan.minutes <= 4.0);
  CHECK(much.plan.minutes <= 9.0);
  CHECK(much.plan.touch_count() > little.plan.touch_count());
  CHECK(output(much.plan, "A.orientation.B").U95 < output(little.plan, "A.orientation.B").U95);
  request.minutes = 0.2;
  CHECK_FALSE(make_plan(machine, request).has_value());
}

TEST_CASE("the prediction reproduces the floors of known-angle geometry") {
  // Least squares written out: with only touch noise sigma, a ball centre from n equator touches has
  // sigma sqrt(2/n) in the plane; the axis of N angles sigma_p / sqrt(N (1 - |e|^2)); lean from
  // axial readings of a full circle sqrt(2/N) sigma_z / rho, where the pole gives sigma_z = sigma
  // at known radius. An invented C axis with a ball at 100 mm.
  Machine machine = example("trunnion");
  machine.rotary.erase(machine.rotary.begin());  // leaves C alone
  machine.rotary[0].index_sigma_rad = 1e-9;
  machine.rotary[0].travel_rad = {rad_from_deg(-360.0), rad_from_deg(360.0)};
  machine.linear.station_sigma_mm = 1e-7;
  machine.linear.travel_mm = {Range{-2000, 2000}, Range{-2000, 2000}, Range{-2000, 2000}};
  machine.probe.touch_sigma_mm = 0.001;
  machine.probe.stylus_diameter_u_mm = 1e-8;
  machine.probe.offset_u_mm.setZero();
  machine.obstacles.clear();
  Artefact ball = machine.artefacts.front();
  ball.carried_by = 0;
  ball.diameter_u_mm = 1e-8;
  ball.diameter_as = -1;
  ball.at_mm = machine.rotary[0].centre_mm + Eigen::Vector3d(100, 0, 0);
  ball.at_mm.z() = machine.rotary[0].quote_at_mm;
  machine.artefacts = {ball};
  for (const int n : {4, 6, 8}) {
    CAPTURE(n);
    PlanRequest request;
    request.stations = n;
    request.equator_touches = 5;
    request.order = StationOrder::there_and_back;
    Plan plan = planned(machine, request).plan;
    plan.stations.resize(static_cast<std::size_t>(n));  // once round, no repeats
    const auto prediction = predict_plan(machine, plan);
    REQUIRE(prediction.has_value());
    const AxisResult& axis = prediction->axes.front();
    const double sigma_c = 0.001 * std::sqrt(2.0 / 5.0) / std::sqrt(n);
    for (const NamedEstimate& place : axis.centre) {
      CHECK(place.estimate.u == doctest::Approx(sigma_c).epsilon(0.01));
    }
    const double sigma_lean = std::sqrt(2.0 / n) * 0.001 / 100.0;
    for (const NamedEstimate& lean : axis.orientation) {
      CHECK(lean.estimate.u == doctest::Approx(sigma_lean).epsilon(0.01));
    }
  }
}

TEST_CASE("bores and flats are planned too, and what cannot be reached on them is left out") {
  SUBCASE("a bore in a table, off its axis, opening towards the spindle") {
    Machine machine = example("trunnion");
    const int c = machine.rotary_index('C');
    Artefact bore;
    bore.name = "ring";
    bore.kind = ArtefactKind::bore;
    bore.carried_by = c;
    bore.at_mm = machine.rotary[c].centre_mm + Eigen::Vector3d(60, 0, 40);
    bore.length_mm = 30.0;
    bore.diameter_mm = 40.0;
    bore.diameter_u_mm = 0.001;
    machine.artefacts = {bore};
    machine.obstacles.clear();
    PlanRequest request;
    request.axes = {'C'};
    const Plan plan = planned(machine, request).plan;
    CHECK(check_plan(machine, plan).empty());
    CHECK_FALSE(plan.self_find);  // a bore cannot be found from above
    for (const PlannedTouch& touch : plan.stations.front().touches) CHECK(touch.along_mm > 0.0);
    machine.probe.stylus_diameter_mm = 45.0;
    CHECK_FALSE(make_plan(machine, request).has_value());
  }
  SUBCASE("a face beside a ball") {
    Machine machine = example("fourth-axis");
    machine.obstacles.erase(machine.obstacles.begin());  // the faceplate is now the flat itself
    Artefact face;
    face.name = "face";
    face.kind = ArtefactKind::flat;
    face.carried_by = 0;
    face.at_mm = {-325, -200, -250};
    face.direction = Eigen::Vector3d::UnitX();
    face.size_mm = 100.0;
    machine.artefacts.push_back(face);
    const Plan plan = planned(machine, {}).plan;
    CHECK(check_plan(machine, plan).empty());
    int on_face = 0;
    for (const PlannedTouch& touch : plan.stations.front().touches) {
      on_face += touch.artefact == 1 ? 1 : 0;
    }
    CHECK(on_face == 3);
  }
}

TEST_CASE("requests that make no sense are refused") {
  const Machine machine = example("fourth-axis");
  PlanRequest request;
  request.stations = 2;
  CHECK_FALSE(make_plan(machine, request).has_value());
  request = {};
  request.equator_touches = 2;
  CHECK_FALSE(make_plan(machine, request).has_value());
  request = {};
  request.axes = {'C'};
  CHECK_FALSE(make_plan(machine, request).has_value());
}

TEST_CASE("the fingerprint follows what shapes the program and nothing else") {
  const Machine machine = example("fourth-axis");
  Plan plan = planned(machine, {}).plan;
  const std::string before = identity_of(plan);
  plan.minutes += 1.0;
  plan.predicted.clear();
  CHECK(identity_of(plan) == before);
  plan.distances.clearance += 0.1;
  CHECK(identity_of(plan) != before);
  CHECK(identity_number_of(plan) >= 100000);
  CHECK(identity_number_of(plan) <= 999999);
}

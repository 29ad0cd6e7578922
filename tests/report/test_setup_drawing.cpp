// The drawing of a set-up: legible on every demo, and saying what a rule would say.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <sstream>

#include "cycle/demo_plans.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/upward.h"
#include "pivotrace/plan/make_plan.h"
#include "report/label_places.h"
#include "report/legible.h"
#include "report/setup_drawing.h"
#include "report/sight.h"

using namespace pivotrace;
using namespace pivotrace::report;

namespace {

Plan planned(const Machine& machine) {
  PlanRequest request;
  request.purpose = Purpose::commissioning;
  const Expected<PlanOutcome> outcome = make_plan(machine, request);
  REQUIRE(outcome.has_value());
  return outcome->plan;
}

bool says(const Svg& svg, const std::string& words) {
  return std::any_of(svg.labels().begin(), svg.labels().end(),
                     [&](const Label& label) { return label.text == words; });
}

Svg drawn(const std::string& demo) {
  const Machine machine = testing::example(demo);
  Svg svg = setup_drawing(machine, planned(machine), true);
  keep(svg, "setup-" + demo);
  return svg;
}

/// The 4th-axis demo stood upright before a lying spindle: axis B along Y, table under the ball.
Machine lying_spindle() {
  Machine machine = testing::example("fourth-axis");
  RotaryAxis& axis = machine.rotary.front();
  axis.letter = 'B';
  axis.along = LinearAxis::Y;
  axis.direction = Eigen::Vector3d::UnitY();
  axis.centre_mm = {-300.0, -300.0, -300.0};
  axis.quote_at_mm = -300.0;
  Artefact& ball = machine.artefacts.front();
  ball.at_mm = {-300.0, -200.0, -230.0};
  ball.stem = Stem{-Eigen::Vector3d::UnitY(), 8.0, 90.0};
  machine.obstacles.resize(1);
  Obstacle& table = machine.obstacles.front();
  table.name = "table";
  table.from_mm = {-300.0, -340.0, -300.0};
  table.to_mm = {-300.0, -300.0, -300.0};
  table.diameter_mm = 200.0;
  return machine;
}

}  // namespace

TEST_CASE("the set-up of every demo is drawn with labels large enough, inside and apart") {
  for (const char* demo : {"fourth-axis", "trunnion", "swivel-head", "pin-in-chuck"}) {
    INFO(demo);
    const Svg svg = drawn(demo);
    CHECK(complaints(svg) == "");
    CHECK(svg.width() == figure_width);
    CHECK(says(svg, "Touches, station 1"));
  }
}

TEST_CASE("three views at a slant of the first station leave the close-up a place of its own") {
  const Machine machine = testing::example("trunnion");
  Plan plan = planned(machine);
  // The table is seen nearly along its axis from above, and the cradle from the right.
  plan.stations.front().angles_rad[0] = rad_from_deg(20.0);
  const Svg svg = setup_drawing(machine, plan, false);
  keep(svg, "setup-trunnion-slanted");
  CHECK(complaints(svg) == "");
  // A bench machine drawn for a page: one to twenty at the smallest.
  bool drawn_to_scale = false;
  for (const char* scale : {"2", "2.5", "3", "4", "5", "6", "8", "10", "12.5", "15", "20"}) {
    drawn_to_scale = drawn_to_scale ||
                     says(svg, std::string("third angle, 1 : ") + scale + " printed full size");
  }
  CHECK(drawn_to_scale);
}

TEST_CASE("dimensions are what a rule would say, from the machine file by hand") {
  // fourth-axis: ball at X -270, face of the plate at X -325; Z -190 over the axis at Z -250.
  const Svg fourth = drawn("fourth-axis");
  CHECK(says(fourth, "55"));
  CHECK(says(fourth, "60"));
  // trunnion: ball at Z -270 over the table face at Z -330, X -180 beside the axis at X -250.
  const Svg trunnion = drawn("trunnion");
  CHECK(says(trunnion, "60"));
  CHECK(says(trunnion, "70"));
  // swivel-head: ball at Z -300 over the table at Z -400.
  CHECK(says(drawn("swivel-head"), "100"));
  // pin-in-chuck: free end at X -320, chuck face at X -410.
  CHECK(says(drawn("pin-in-chuck"), "90"));
}

TEST_CASE("an inch machine is drawn in inches") {
  Machine machine = testing::example("fourth-axis");
  machine.inch = true;
  const Svg svg = setup_drawing(machine, planned(machine), false);
  CHECK(says(svg, "2.17"));  // 55 mm
  CHECK(says(svg, "ball \xC3\x98 1"));
  CHECK_FALSE(says(svg, "55"));
}

TEST_CASE("each axis is seen along itself, with its sign") {
  const Svg trunnion = drawn("trunnion");
  for (const char* words : {"Front", "From the right", "From above", "+A", "+C", "axis A"}) {
    INFO(words);
    CHECK(says(trunnion, words));
  }
  CHECK_FALSE(says(drawn("fourth-axis"), "From above"));
}

TEST_CASE("every station has its number in the drawing, whichever axes turn to it") {
  for (const char* demo : {"fourth-axis", "trunnion", "swivel-head"}) {
    INFO(demo);
    const Machine machine = testing::example(demo);
    const Plan plan = planned(machine);
    const Svg svg = setup_drawing(machine, plan, false);
    std::set<std::string> numbers;
    for (const Label& label : svg.labels()) {
      std::istringstream words(label.text);
      for (std::string word; words >> word;) {
        if (word.back() == ',') word.pop_back();
        numbers.insert(word);
      }
    }
    for (const PlannedStation& station : plan.stations) {
      INFO(std::string(demo), ", station ", station.label, " with ", station.touches.size(),
           " touches");
      CHECK(numbers.contains(station.label));
    }
  }
}

TEST_CASE("what is up follows the spindle") {
  CHECK(upward_axis(testing::example("fourth-axis")) == LinearAxis::Z);
  CHECK(upward_axis(testing::example("trunnion")) == LinearAxis::Z);
  CHECK(upward_axis(testing::example("swivel-head")) == LinearAxis::Z);
  Machine lying = lying_spindle();
  CHECK(upward_axis(lying) == LinearAxis::Y);
  lying.artefacts.front().stem.reset();  // then it stands away from the table
  CHECK(upward_axis(lying) == LinearAxis::Y);
  lying.artefacts.front().stem = Stem{-Eigen::Vector3d::UnitZ(), 8.0, 40.0};
  CHECK(upward_axis(lying) == LinearAxis::Z);
}

TEST_CASE("a lying spindle is drawn lying") {
  const Machine machine = lying_spindle();
  const Svg svg = setup_drawing(machine, planned(machine), true);
  keep(svg, "setup-lying");
  CHECK(complaints(svg) == "");
  CHECK(says(svg, "100"));  // ball at Y -200 over the table face at Y -300
  CHECK(says(svg, "70"));   // Z -230 beside the axis at Z -300
  CHECK(says(svg, "From above"));
}

TEST_CASE("views fit each other as third-angle projection has them") {
  for (const LinearAxis up : {LinearAxis::Y, LinearAxis::Z}) {
    const Sight front = front_sight(up);
    const Sight side = side_sight(up);
    const Sight top = top_sight(up);
    // What is at the right of the front view is near in the view from the right; what is high in it is
    // near in the view from above.
    CHECK(side.towards().isApprox(front.right));
    CHECK(top.towards().isApprox(front.up));
    CHECK(side.up.isApprox(front.up));
    CHECK(top.right.isApprox(front.right));
  }
  CHECK(front_sight(LinearAxis::Z).towards().isApprox(-Eigen::Vector3d::UnitY()));
  CHECK(front_sight(LinearAxis::Y).towards().isApprox(Eigen::Vector3d::UnitZ()));
}

TEST_CASE("outlines are clipped and hatched inside their box") {
  const Outline square = hull_of({{0, 0}, {10, 0}, {10, 10}, {0, 10}, {5, 5}, {5, 0}});
  CHECK(square.size() == 4);
  const Outline half = clipped(square, {5.0, -5.0, 20.0, 20.0});
  for (const Point& p : half) CHECK((p.x >= 5.0 && p.x <= 10.0));
  CHECK(clipped(square, {20.0, 20.0, 30.0, 30.0}).empty());
  for (const auto& [from, to] : hatching(square, 3.0)) {
    // Slanting ends lie on the edges: the sum of both coordinates is the same at both.
    CHECK(from.x + from.y == doctest::Approx(to.x + to.y));
  }
  CHECK(hatching(square, 3.0).size() == 6);
  CHECK(is_inside(square, {5.0, 5.0}));
  CHECK_FALSE(is_inside(square, {15.0, 5.0}));
}

TEST_CASE("a label goes where nothing is, and says so when there is no such place") {
  Svg svg(200.0, 60.0);
  LabelPlaces places(svg, {0.0, 0.0, 200.0, 60.0});
  places.avoid(Box{0.0, 0.0, 200.0, 20.0});
  CHECK(places.put("right here", {100.0, 30.0}, {0.0, -1.0}));
  CHECK(svg.labels().front().box.top >= 20.0);
  places.avoid(Box{0.0, 0.0, 200.0, 60.0});
  CHECK_FALSE(places.put("nowhere", {100.0, 30.0}, {1.0, 0.0}));
  CHECK(crosses({0.0, 0.0, 10.0, 10.0}, {-5.0, 5.0}, {15.0, 6.0}));
  CHECK_FALSE(crosses({0.0, 0.0, 10.0, 10.0}, {-5.0, 5.0}, {5.0, 25.0}));
}

TEST_CASE("a corner met twice by round-off is not lost") {
  // Both corners at the right stand there twice, 1e-13 apart.
  const double x = 450.0;
  const double hair = 1e-13;
  const Outline outline = hull_of({{298.0, 643.0},
                                   {298.0 + hair, 670.0},
                                   {x - 2.0 * hair, 643.0},
                                   {x - hair, 670.0},
                                   {x, 643.0}});
  REQUIRE(outline.size() == 4);
  CHECK(is_inside(outline, {449.0, 669.0}));
}

// Signs of two set-ups worked by hand from ISO 841 and the machine file's words (derived here).
#include <doctest/doctest.h>

#include "example_machine.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/plan.h"

using namespace pivotrace;
using Eigen::Vector3d;
using pivotrace::testing::example;

TEST_CASE("a work-carrying A that follows ISO 841 turns the work left-handed about +X") {
  // The tool turns right-handed relative to the work for +A, so the work turns left-handed: what
  // stood above the axis (+Z, 60 mm) comes to its +Y side for A = +90.
  const Machine machine = example("fourth-axis");
  const MachineState state = nominal_state(machine);
  RotaryAngles angles{};
  angles[0] = rad_from_deg(90.0);
  const PlacedTouch touch = place_touch(machine, state, {}, angles, {0, 0.0, rad_from_deg(90.0)});
  CHECK((touch.centre_mm - Vector3d(-270, -200 + 60, -250)).norm() < 1e-9);
  CHECK((touch.outward - Vector3d(0, 0, 1)).norm() < 1e-12);
  CHECK(touch.reach_mm == doctest::Approx(12.7 + 3.0));
}

TEST_CASE("a head that turns right-handed about +Y lays the spindle along +X at B = +90") {
  // Right-handed about Y: Z goes to X. The pivot is 180 mm above the stylus, so with the shown
  // position held the stylus swings from 180 below the pivot to 180 on its -X side.
  const Machine machine = example("swivel-head");
  const MachineState state = nominal_state(machine);
  RotaryAngles angles{};
  angles[0] = rad_from_deg(90.0);
  CHECK((tool_axis_in_machine(machine, state, angles) - Vector3d(1, 0, 0)).norm() < 1e-12);
  // A pole touch then comes from +X.
  const PlacedTouch pole = place_touch(machine, state, {}, angles, {0, 0.0, rad_from_deg(90.0)});
  CHECK((pole.contact_mm() - Vector3d(-400 + 12.5 + 3.0, -250, -300)).norm() < 1e-9);
}

TEST_CASE("a touch is approached along its outward direction, from outside or inside") {
  PlacedTouch touch;
  touch.outward = Vector3d::UnitX();
  touch.reach_mm = 10.0;
  touch.height_mm = 20.0;
  CHECK(touch.contact_mm() == Vector3d(10, 0, 0));
  CHECK(touch.stand_off_mm(4.0) == Vector3d(14, 0, 0));
  CHECK(touch.search_end_mm(2.0) == Vector3d(8, 0, 0));
  CHECK(touch.above_mm(4.0) == Vector3d(14, 0, 20));
  touch.side = -1.0;  // a bore: from its axis outwards
  CHECK(touch.stand_off_mm(4.0) == Vector3d(6, 0, 0));
  CHECK(touch.search_end_mm(2.0) == Vector3d(12, 0, 0));
  CHECK(touch.approach() == Vector3d(1, 0, 0));
}

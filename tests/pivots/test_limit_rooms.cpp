// Limits as rooms of values: units, slopes, changes, and what cannot be followed.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "pivotrace/pivots/limit_rooms.h"

using namespace pivotrace;

namespace {

Limit limit_on(const char* value, double low, double high, LimitUnit unit = LimitUnit::automatic) {
  Limit limit;
  limit.value = AskedValue(value);
  limit.low = low;
  limit.high = high;
  limit.unit = unit;
  return limit;
}

ValueRoom only_room(const Limit& limit, bool inch = false) {
  Limits limits;
  limits.inch = inch;
  limits.limits = {limit};
  const auto rooms = limit_rooms(limits, "mill");
  REQUIRE(rooms.has_value());
  REQUIRE(rooms->rooms.size() == 1);
  return rooms->rooms.front();
}

}  // namespace

TEST_CASE("a limit leaves its value the room it says, whatever its unit") {
  const ValueRoom centre = only_room(limit_on("A.centre.Y", -1.0, 2.0), true);
  CHECK(centre.name == axis_value('A', ValueKind::centre, LinearAxis::Y));
  CHECK(centre.room.low == doctest::Approx(-25.4));
  CHECK(centre.room.high == doctest::Approx(50.8));
  const ValueRoom lean = only_room(limit_on("A.orientation.B", -60, 60, LimitUnit::arcsec));
  CHECK(lean.room.high == doctest::Approx(std::numbers::pi / 180.0 / 60.0));
  // 0.03 mm over 300 mm are 0.0001 rad, of a slope as of an orientation.
  for (const char* value : {"A.orientation.B", "A.slope.B"}) {
    const ValueRoom slope = only_room(limit_on(value, -0.03, 0.03, LimitUnit::mm_per_300));
    CHECK(slope.name == axis_value('A', ValueKind::orientation, LinearAxis::Y));
    CHECK(slope.room.high == doctest::Approx(1e-4));
  }
}

TEST_CASE("the room left to a change is what the old value has left, or what the change may be") {
  const ValueName name = axis_value('A', ValueKind::centre, LinearAxis::Y);
  const std::vector<ValueRoom> rooms = {{name, false, {-200.1, -199.9}},
                                        {name, true, {-0.05, 0.05}}};
  const auto left = room_from(name, -199.98, rooms, std::nullopt);
  REQUIRE(left.has_value());
  CHECK(left->low == doctest::Approx(-0.05));  // of the change; the value itself has 0.12
  CHECK(left->high == doctest::Approx(0.05));
  CHECK(room_from(name, -199.92, rooms, 0.001)->high == doctest::Approx(0.02));
  const ValueName other = axis_value('A', ValueKind::orientation, LinearAxis::Y);
  CHECK_FALSE(room_from(other, 0.0, rooms, std::nullopt).has_value());
  CHECK(room_from(other, 0.0, rooms, 0.03)->high == doctest::Approx(1e-4));
}

TEST_CASE("what cannot be followed is named, what cannot be meant is refused") {
  Limits limits;
  limits.limits = {limit_on("A.centre.Y", -1.0, 1.0), limit_on("A.F_R", 0.0, 0.02),
                   limit_on("A-C.distance", 0.0, 0.02)};
  const auto rooms = limit_rooms(limits, "mill");
  REQUIRE(rooms.has_value());
  CHECK(rooms->rooms.size() == 1);
  CHECK(rooms->not_followed == std::vector<std::string>{"A.F_R", "A-C.distance"});
  limits.machine = "another mill";
  CHECK(limit_rooms(limits, "mill").error().front().number == ProblemNumber::other_machine);
  CHECK(limit_rooms(limits, "mill", true).has_value());
  limits.limits = {limit_on("A.centre.Y", -1.0, 1.0, LimitUnit::arcsec)};
  CHECK(limit_rooms(limits, "another mill").error().front().number == ProblemNumber::wrong_units);
  limits.limits = {limit_on("A.middle.Y", -1.0, 1.0)};
  CHECK(limit_rooms(limits, "another mill").error().front().number == ProblemNumber::no_such_value);
}

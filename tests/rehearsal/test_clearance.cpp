// Distances of bodies and the check of motions, against closed forms, against the planner's own
// distance routine, and against brute force.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "pivotrace/geometry/line.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/survey/random_stream.h"
#include "plan/convex.h"
#include "rehearsal/bench_machine.h"
#include "rehearsal/clearance.h"

namespace pivotrace {
namespace {

using rehearsal::MotionChecker;
using rehearsal::MotionReport;
using rehearsal::MotionRules;
using rehearsal::Posture;
using rehearsal::Solid;
using rehearsal::SolidShape;

Solid rod(const Eigen::Vector3d& from, const Eigen::Vector3d& to, double radius) {
  Solid solid;
  solid.shape = SolidShape::cylinder;
  solid.radius_mm = radius;
  solid.half_length_mm = 0.5 * (to - from).norm();
  solid.pose.linear() = rehearsal::z_to((to - from).normalized());
  solid.pose.translation() = 0.5 * (from + to);
  return solid;
}

Eigen::Vector3d random_vector(RandomStream& random, double size) {
  return {size * random.normal(), size * random.normal(), size * random.normal()};
}

TEST_CASE("two long crossing cylinders are apart by their common normal less both radii") {
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    const Line first{random_vector(random, 10.0), random_vector(random, 1.0).normalized()};
    const Line second{first.point_mm + random_vector(random, 25.0),
                      random_vector(random, 1.0).normalized()};
    const CommonNormal normal = common_normal(first, second);
    const double expected = std::fabs(normal.signed_distance_mm) - 5.0;
    if (normal.crossing_rad < 0.3 || normal.crossing_rad > 2.8 || expected < 0.1) continue;
    const auto about = [](const Eigen::Vector3d& foot, const Line& line, double radius) {
      return rod(foot - 80.0 * line.direction, foot + 80.0 * line.direction, radius);
    };
    const Solid a = about(normal.foot_on_first_mm, first, 2.0);
    const Solid b = about(normal.foot_on_second_mm, second, 3.0);
    CHECK(rehearsal::solid_distance_mm(a, b) == doctest::Approx(expected).epsilon(3e-6));
  }
}

TEST_CASE("the collision library and the planner's own distance agree") {
  int apart = 0;
  int close = 0;
  for (std::uint64_t seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    const Eigen::Vector3d a0 = random_vector(random, 30.0);
    const Eigen::Vector3d a1 = a0 + random_vector(random, 30.0);
    const Eigen::Vector3d b0 = random_vector(random, 30.0);
    const Eigen::Vector3d b1 = b0 + random_vector(random, 30.0);
    const double by_library = rehearsal::solid_distance_mm(rod(a0, a1, 3.0), rod(b0, b1, 8.0));
    constexpr double tolerance_mm = 0.001;
    const double by_planner =
        distance_bound_mm(cylinder_body(a0, a1, 3.0), cylinder_body(b0, b1, 8.0), tolerance_mm);
    if (by_library < 0.05) {
      CHECK(by_planner < 0.06);
    } else {
      // The planner proves a lower bound, a close one unless its iterations run out.
      CHECK(by_planner <= by_library * (1.0 + 1e-6));
      ++apart;
      if (by_planner >= by_library - 0.02) ++close;
    }
  }
  CHECK(apart > 100);
  CHECK(close > apart * 9 / 10);
}

TEST_CASE(
    "the cheap bound never exceeds the distance, and is close where bodies lie side by side") {
  for (std::uint64_t seed = 1; seed <= 400; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    const Eigen::Vector3d at = random_vector(random, 40.0);
    const Solid first = rod(at, at + random_vector(random, 30.0), 1.0 + 9.0 * random.uniform());
    Solid second = rod({0, 0, 0}, random_vector(random, 30.0), 1.0 + 9.0 * random.uniform());
    if (seed % 2 == 0) {
      second.shape = SolidShape::box;
      second.half_sides_mm = random_vector(random, 10.0).cwiseAbs() + Eigen::Vector3d::Ones();
    }
    const double exact = rehearsal::solid_distance_mm(first, second);
    const double bound = rehearsal::separation_bound_mm(first, second);
    if (exact > 0.0) CHECK(bound <= exact * (1.0 + 1e-6));
    if (exact <= 0.0) CHECK(bound <= 1e-6);
  }
  const Solid upright = rod({0, 0, 0}, {0, 0, 50}, 3.0);
  CHECK(rehearsal::separation_bound_mm(upright, rod({20, 0, 10}, {20, 0, 80}, 5.0)) ==
        doctest::Approx(12.0));
  CHECK(rehearsal::separation_bound_mm(upright, rod({0, 0, 57}, {0, 0, 80}, 5.0)) ==
        doctest::Approx(7.0));
}

TEST_CASE("the distance of a point is exact outside and signed inside") {
  Solid box;
  box.shape = SolidShape::box;
  box.half_sides_mm = {1, 2, 3};
  CHECK(rehearsal::point_distance_mm(box, {4, 6, 3}) == doctest::Approx(5.0));
  CHECK(rehearsal::point_distance_mm(box, {0.5, 0, 0}) == doctest::Approx(-0.5));
  const Solid cylinder = rod({0, 0, 0}, {0, 0, 10}, 2.0);
  CHECK(rehearsal::point_distance_mm(cylinder, {5, 0, 14}) == doctest::Approx(5.0));
  CHECK(rehearsal::point_distance_mm(cylinder, {0, 1, 5}) == doctest::Approx(-1.0));
}

MotionChecker checker_of(const Machine& machine) {
  const MachineState state = nominal_state(machine);
  std::vector<std::string> notes;
  MotionChecker checker(machine, state, rehearsal::tool_solids(machine, state, notes),
                        rehearsal::work_solids(machine, state));
  CHECK(notes.empty());
  return checker;
}

/// Smallest distance of any pair over a motion, by looking at so many places.
double brute_force_mm(const MotionChecker& checker, const Posture& from, const Posture& to,
                      int looks) {
  double smallest = 1e9;
  for (int k = 0; k <= looks; ++k) {
    const Posture at = between(from, to, static_cast<double>(k) / looks);
    for (std::size_t t = 0; t < checker.tool().size(); ++t) {
      for (std::size_t w = 0; w < checker.work().size(); ++w) {
        smallest =
            std::min(smallest, checker.distance_mm(static_cast<int>(t), static_cast<int>(w), at));
      }
    }
  }
  return smallest;
}

TEST_CASE("no contact is missed and none is made up: random moves and turns") {
  Machine machine = test::bench_machine();
  Obstacle box;
  box.name = "block";
  box.carried_by = 0;
  box.from_mm = {30, -20, -20};
  box.to_mm = {60, 20, 20};
  machine.obstacles.push_back(box);
  const MotionChecker checker = checker_of(machine);
  int hits = 0;
  int misses = 0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    Posture from;
    Posture to;
    from.shown_mm = random_vector(random, 60.0) + Eigen::Vector3d(0, 0, 90.0);
    to.shown_mm = random_vector(random, 25.0) + Eigen::Vector3d(0, 0, 60.0);
    if (seed % 3 == 0) to.angles_rad[0] = 3.0 * random.normal();
    if (seed % 6 == 0) to.shown_mm = from.shown_mm;
    if (brute_force_mm(checker, from, from, 1) < 0.1) continue;
    const double smallest = brute_force_mm(checker, from, to, 1500);
    const MotionReport report = checker.check(from, to, {}, 1e9);
    if (smallest < missed_contact_mm) {
      ++hits;
      CHECK(report.contact.has_value());
    } else if (smallest > 0.2) {  // the brute force looks every tenth of a millimetre or so
      ++misses;
      CHECK_FALSE(report.contact.has_value());
    }
    if (report.contact) {
      CHECK(report.contact->distance_mm < contact_threshold_mm);
      const Posture at = between(from, to, report.contact->part);
      CHECK(brute_force_mm(checker, from, at, 1500) > -0.5);
    }
  }
  CHECK(hits >= 10);
  CHECK(misses >= 10);
}

/// Depth to which some pair overlaps on the way, by looking at many places; balls and points on the
/// shank's axis only, whose depth in a body is exact.
double deepest_mm(const MotionChecker& checker, const Posture& from, const Posture& to, int looks) {
  double deepest = 0.0;
  for (int k = 0; k <= looks; ++k) {
    const Posture at = between(from, to, static_cast<double>(k) / looks);
    const Eigen::Vector3d ball = checker.ball_mm(at);
    const Eigen::Vector3d axis = checker.tool_axis(at);
    for (std::size_t w = 0; w < checker.work().size(); ++w) {
      const Solid body = checker.work_solid(static_cast<int>(w), at);
      const double ball_radius = checker.tool()[0].radius_mm;
      deepest = std::max(deepest, ball_radius - rehearsal::point_distance_mm(body, ball));
      for (int along = 1; along <= 12; ++along) {
        const double shank_radius = checker.tool()[1].radius_mm;
        const Eigen::Vector3d on_shank = ball + axis * (4.0 * along);
        deepest = std::max(deepest, shank_radius - rehearsal::point_distance_mm(body, on_shank));
      }
    }
  }
  return deepest;
}

/// A machine with a cradle that carries a table, a swivel head, and thin wires: what a coarse
/// sampling of a swing passes over.
Machine machine_of_wires(RandomStream& random) {
  Machine machine = test::bench_machine();
  machine.artefacts[0].stem.reset();
  RotaryAxis table = machine.rotary[0];
  table.letter = 'C';
  table.along = LinearAxis::Z;
  table.direction = Eigen::Vector3d::UnitZ();
  table.centre_mm = {20, -10, 0};
  RotaryAxis head = machine.rotary[0];
  head.letter = 'B';
  head.side = AxisSide::tool;
  head.along = LinearAxis::Y;
  head.direction = Eigen::Vector3d::UnitY();
  head.centre_mm = {0, 0, 150};
  machine.rotary = {machine.rotary[0], table, head};
  machine.artefacts[0].carried_by = 1;
  for (int k = 0; k < 9; ++k) {
    Obstacle wire;
    wire.name = "wire " + std::to_string(k + 1);
    wire.carried_by = k % 3 - 1;
    wire.shape = ObstacleShape::cylinder;
    wire.from_mm = random_vector(random, 60.0);
    wire.to_mm = wire.from_mm + random_vector(random, 80.0);
    wire.diameter_mm = 0.2;
    machine.obstacles.push_back(wire);
  }
  return machine;
}

TEST_CASE("nothing that overlaps by more than the stated bound is missed, however thin and fast") {
  int hits = 0;
  int free = 0;
  for (std::uint64_t seed = 1; seed <= 180; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    const Machine machine = machine_of_wires(random);
    const MotionChecker checker = checker_of(machine);
    Posture from;
    Posture to;
    from.shown_mm = random_vector(random, 40.0) + Eigen::Vector3d(0, 0, 60.0);
    to.shown_mm = seed % 4 == 0 ? from.shown_mm : from.shown_mm + random_vector(random, 40.0);
    for (int axis = 0; axis < 3; ++axis) {
      from.angles_rad[axis] = random.normal();
      // Up to some turns in one move.
      to.angles_rad[axis] = from.angles_rad[axis] + (seed % 3 == 0 ? 6.0 : 1.0) * random.normal();
    }
    if (brute_force_mm(checker, from, from, 1) < contact_threshold_mm) continue;
    const MotionReport report = checker.check(from, to, {}, 1e9);
    const double deepest = deepest_mm(checker, from, to, 2000);
    if (deepest > missed_contact_mm) {
      ++hits;
      CHECK(report.contact.has_value());
    } else {
      ++free;
    }
    if (report.contact) {
      CHECK(report.contact->distance_mm < contact_threshold_mm);
      // Nothing was met before: the motion up to a moment earlier is free.
      const Posture before = between(from, to, report.contact->part);
      CHECK(deepest_mm(checker, from, before, 300) <= missed_contact_mm);
    }
  }
  CHECK(hits >= 20);
  CHECK(free >= 10);
}

TEST_CASE("a pressed shank may come out again, and may not be pushed through") {
  Machine machine = test::bench_machine();
  machine.artefacts[0].stem.reset();
  Obstacle wall;
  wall.name = "wall";
  wall.from_mm = {50, -40, -40};
  wall.to_mm = {90, 40, 200};
  machine.obstacles.push_back(wall);
  const MotionChecker checker = checker_of(machine);
  // The shank, radius 2, 1.5 mm inside the wall's flank at X 50; the holder, radius 20, is above.
  Posture pressed;
  pressed.shown_mm = {49.5, 0, 190};
  Posture out = pressed;
  out.shown_mm.x() = 20;
  Posture deeper = pressed;
  deeper.shown_mm.x() = 56;
  Posture through = pressed;
  through.shown_mm.x() = 130;
  MotionRules rules;
  rules.ball_may_touch = true;
  CHECK(checker.check(pressed, deeper, rules, 1e9).contact.has_value());
  CHECK(checker.check(pressed, through, rules, 1e9).contact.has_value());
  // Up there the holder is clear of the wall on the way out as well.
  CHECK_FALSE(checker.check(pressed, out, rules, 1e9).contact.has_value());
}

TEST_CASE("the guard distance is seen even between two checks") {
  const Machine machine = test::bench_machine();
  const MotionChecker checker = checker_of(machine);
  // Past the ball's top at 4.9 mm: the stylus ball's centre 17.9 mm over the ball's centre.
  for (const double gap : {4.9, 5.1}) {
    Posture from;
    Posture to;
    from.shown_mm = {-100, 0, 50 + 13 + gap};
    to.shown_mm = {100, 0, 50 + 13 + gap};
    MotionRules rules;
    rules.guard_mm = 5.0;
    const MotionReport report = checker.check(from, to, rules, 1e9);
    CHECK(report.near.has_value() == (gap < 5.0));
    CHECK_FALSE(report.contact.has_value());
  }
}

TEST_CASE("a move out of contact is free, one deeper into it is a collision") {
  const Machine machine = test::bench_machine();
  const MotionChecker checker = checker_of(machine);
  Posture pressed;
  pressed.shown_mm = {-12.99, 0, 50};
  Posture out;
  out.shown_mm = {-20, 0, 50};
  Posture in;
  in.shown_mm = {-12.5, 0, 50};
  Posture through;
  through.shown_mm = {20, 0, 50};
  CHECK_FALSE(checker.check(pressed, out, {}, 1e9).contact.has_value());
  CHECK(checker.check(pressed, in, {}, 1e9).contact.has_value());
  CHECK(checker.check(pressed, through, {}, 1e9).contact.has_value());
}

TEST_CASE("the smallest clearance is found between the checks") {
  Machine machine = test::bench_machine();
  Obstacle post;
  post.name = "post";
  post.shape = ObstacleShape::cylinder;
  post.from_mm = {100, 40, -100};
  post.to_mm = {100, 40, 200};
  post.diameter_mm = 10.0;
  machine.obstacles.push_back(post);
  const MotionChecker checker = checker_of(machine);
  Posture from;
  Posture to;
  from.shown_mm = {60, 0, 150};
  to.shown_mm = {140, 0, 150};
  const MotionReport report = checker.check(from, to, {}, 1e9);
  REQUIRE(report.smallest.has_value());
  // Holder (radius 20) beside the post (radius 5), 40 mm between their axes.
  CHECK(report.smallest->distance_mm == doctest::Approx(15.0).epsilon(1e-5));
  CHECK(report.smallest->part == doctest::Approx(0.5).epsilon(1e-2));
}

TEST_CASE("staves of a bore leave its wall where it is, within the stated bound") {
  Machine machine = test::bench_machine();
  machine.artefacts[0].kind = ArtefactKind::bore;
  machine.artefacts[0].length_mm = 30.0;
  machine.artefacts[0].diameter_mm = 40.0;
  machine.artefacts[0].stem.reset();
  const std::vector<rehearsal::WorkSolid> solids =
      rehearsal::work_solids(machine, nominal_state(machine));
  for (int k = 0; k < 360; ++k) {
    const double phi = k * std::numbers::pi / 180.0;
    const Eigen::Vector3d at(19.0 * std::cos(phi), 19.0 * std::sin(phi), 50.0 - 15.0);
    double nearest = 1e9;
    for (const auto& body : solids) {
      nearest = std::min(nearest, rehearsal::point_distance_mm(body.solid, at));
    }
    CHECK(nearest >= 1.0 - 1e-9);
    CHECK(nearest <= 1.0 + 0.0022 * 20.0);
  }
}

}  // namespace
}  // namespace pivotrace

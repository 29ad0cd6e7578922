// Where a stylus ball meets a surface: closed forms against the definition of the gap, and against
// stepping along the path by exact distances (a second route to the same number).
#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/survey/random_stream.h"
#include "rehearsal/bench_machine.h"
#include "rehearsal/trigger.h"

namespace pivotrace {
namespace {

using rehearsal::solid_contact_mm;
using rehearsal::StraightPath;
using rehearsal::surface_contact_mm;

constexpr double stylus_radius_mm = 3.0;

Eigen::Vector3d random_vector(RandomStream& random, double size) {
  return {size * random.normal(), size * random.normal(), size * random.normal()};
}

StraightPath towards(const Eigen::Vector3d& from, const Eigen::Vector3d& aim, double beyond) {
  StraightPath path;
  path.from_mm = from;
  path.length_mm = (aim - from).norm() + beyond;
  path.direction = (aim - from).normalized();
  return path;
}

struct Target {
  Artefact artefact;
  ArtefactPlace place;
};

Target target_of(ArtefactKind kind, RandomStream& random) {
  Target target;
  target.artefact.kind = kind;
  target.artefact.length_mm = 40.0;
  target.artefact.size_mm = 40.0;
  target.place.point_mm = random_vector(random, 50.0);
  target.place.direction = random_vector(random, 1.0).normalized();
  target.place.radius_mm = kind == ArtefactKind::flat ? 0.0 : 12.0;
  return target;
}

/// Somewhere on the axis within the usable length, on the face, or the centre.
Eigen::Vector3d aim_of(const Target& target, RandomStream& random) {
  Eigen::Vector3d aim = target.place.point_mm;
  const double along = 8.0 + 24.0 * random.uniform();
  if (target.artefact.kind == ArtefactKind::pin) aim += along * target.place.direction;
  if (target.artefact.kind == ArtefactKind::bore) aim -= along * target.place.direction;
  return aim;
}

TEST_CASE("at the contact the gap is what it was asked to be, and nowhere before") {
  for (const ArtefactKind kind :
       {ArtefactKind::ball, ArtefactKind::pin, ArtefactKind::bore, ArtefactKind::flat}) {
    int met = 0;
    for (std::uint64_t seed = 1; seed <= 400; ++seed) {
      CAPTURE(kind_word(kind));
      CAPTURE(seed);
      RandomStream random(seed);
      const Target target = target_of(kind, random);
      const Eigen::Vector3d aim = aim_of(target, random);
      const double gap = 0.01 * random.normal();
      Eigen::Vector3d outwards = random_vector(random, 1.0);
      if (kind != ArtefactKind::ball && kind != ArtefactKind::flat) {
        outwards -= 0.9 * target.place.direction * target.place.direction.dot(outwards);
      }
      outwards.normalize();
      StraightPath path = towards(aim + 40.0 * outwards, aim, 0.0);
      if (kind == ArtefactKind::bore) path = towards(aim, aim + 20.0 * outwards, 0.0);
      const auto s = surface_contact_mm(target.artefact, target.place, stylus_radius_mm, gap, path);
      if (!s) continue;
      ++met;
      const auto gap_at = [&](double way) {
        return gap_mm(kind, target.place, stylus_radius_mm, path.at(way));
      };
      if (*s > 0.0) CHECK(gap_at(*s) == doctest::Approx(gap).epsilon(1e-9).scale(1.0));
      for (double part : {0.1, 0.5, 0.9, 0.999}) CHECK(gap_at(part * *s) >= gap - 1e-9);
    }
    CHECK(met > 100);
  }
}

TEST_CASE("closed form and stepping by exact distances agree on balls and pins") {
  for (std::uint64_t seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    RandomStream random(seed);
    const Machine machine = [] {
      Machine m = test::bench_machine();
      m.artefacts[0].stem.reset();
      m.artefacts[0].carried_by = -1;
      return m;
    }();
    const bool pin = seed % 2 == 0;
    Target target = target_of(pin ? ArtefactKind::pin : ArtefactKind::ball, random);
    Machine with = machine;
    with.artefacts[0] = target.artefact;
    MachineState state = nominal_state(with);
    state.artefacts[0] = target.place;
    const rehearsal::Solid solid = rehearsal::work_solids(with, state).front().solid;
    const Eigen::Vector3d aim = aim_of(target, random) + random_vector(random, 3.0);
    const StraightPath path =
        towards(aim + random_vector(random, 1.0).normalized() * 60.0, aim, 5.0);
    const auto closed =
        surface_contact_mm(target.artefact, target.place, stylus_radius_mm, 0.0, path);
    const auto stepped = solid_contact_mm(solid, stylus_radius_mm, path);
    if (!closed) continue;
    REQUIRE(stepped.has_value());
    // An end of the pin may be met before its flank.
    if (pin) {
      CHECK(*stepped <= *closed + 1e-6);
    } else {
      CHECK(*stepped == doctest::Approx(*closed).epsilon(1e-7));
    }
  }
}

TEST_CASE("a path that passes by, leads away or ends short triggers nothing") {
  RandomStream random(7);
  Target ball = target_of(ArtefactKind::ball, random);
  const Eigen::Vector3d c = ball.place.point_mm;
  const auto contact = [&](const StraightPath& path) {
    return surface_contact_mm(ball.artefact, ball.place, stylus_radius_mm, 0.0, path);
  };
  const Eigen::Vector3d x = Eigen::Vector3d::UnitX();
  const Eigen::Vector3d y = Eigen::Vector3d::UnitY();
  CHECK_FALSE(contact(towards(c - 40 * x + 15.001 * y, c + 15.001 * y, 40.0)).has_value());
  CHECK(contact(towards(c - 40 * x + 14.999 * y, c + 14.999 * y, 40.0)).has_value());
  CHECK_FALSE(contact(towards(c + 20 * x, c + 40 * x, 0.0)).has_value());
  CHECK_FALSE(contact(towards(c - 40 * x, c - 15.01 * x, 0.0)).has_value());
  CHECK(contact(towards(c - 14 * x, c - 40 * x, 0.0)) == 0.0);
}

}  // namespace
}  // namespace pivotrace

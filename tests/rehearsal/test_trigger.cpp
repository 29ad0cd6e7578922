// Where a stylus ball meets a surface: closed forms against the definition of the gap, and against
// stepping along the path by exact distances (a second route to the same number).
#include <doctest/doctest.h>

#include <cmath>
#include <optional>

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

/// Gap between stylus ball and surface, written down anew from what each artefact is.
double plain_gap_mm(const Target& target, const Eigen::Vector3d& p) {
  const ArtefactPlace& place = target.place;
  const Eigen::Vector3d m = p - place.point_mm;
  const double along = m.dot(place.direction);
  const double beside = std::sqrt(std::max(0.0, m.squaredNorm() - along * along));
  switch (target.artefact.kind) {
    case ArtefactKind::ball: return m.norm() - place.radius_mm - stylus_radius_mm;
    case ArtefactKind::pin: return beside - place.radius_mm - stylus_radius_mm;
    case ArtefactKind::bore: return place.radius_mm - stylus_radius_mm - beside;
    case ArtefactKind::flat: return along - stylus_radius_mm;
  }
  return 0.0;
}

/// First way at which the gap falls to `gap`: a fine search for the change of sign, then bisection.
std::optional<double> bisected(const Target& target, double gap, const StraightPath& path) {
  constexpr int steps = 4000;
  double free = 0.0;
  for (int k = 1; k <= steps; ++k) {
    double met = path.length_mm * k / steps;
    if (plain_gap_mm(target, path.at(met)) > gap) {
      free = met;
      continue;
    }
    for (int halving = 0; halving < 60; ++halving) {
      const double middle = 0.5 * (free + met);
      (plain_gap_mm(target, path.at(middle)) > gap ? free : met) = middle;
    }
    return met;
  }
  return std::nullopt;
}

TEST_CASE("the trigger point of every kind is the one an independent bisection finds") {
  constexpr double agreement_mm = 1e-9;
  for (const ArtefactKind kind :
       {ArtefactKind::ball, ArtefactKind::pin, ArtefactKind::bore, ArtefactKind::flat}) {
    int compared = 0;
    for (std::uint64_t seed = 1; seed <= 250; ++seed) {
      CAPTURE(kind_word(kind));
      CAPTURE(seed);
      RandomStream random(seed);
      const Target target = target_of(kind, random);
      // Aimed beside the middle, so that the surface is met at any slant.
      const Eigen::Vector3d aim = aim_of(target, random) + random_vector(random, 4.0);
      Eigen::Vector3d outwards = random_vector(random, 1.0).normalized();
      if (kind == ArtefactKind::flat && outwards.dot(target.place.direction) < 0.2) continue;
      const bool inside = kind == ArtefactKind::bore;
      const StraightPath path = inside ? towards(aim, aim + 25.0 * outwards, 0.0)
                                       : towards(aim + 45.0 * outwards, aim, 10.0);
      const double gap = 0.01 * random.normal();
      if (plain_gap_mm(target, path.from_mm) <= gap) continue;
      const auto closed =
          surface_contact_mm(target.artefact, target.place, stylus_radius_mm, gap, path);
      const auto searched = bisected(target, gap, path);
      if (closed) {
        REQUIRE(searched.has_value());
        // Across a surface that is met at a grazing slant the way is less well determined.
        const double closing = (plain_gap_mm(target, path.at(*closed)) -
                                plain_gap_mm(target, path.at(*closed - 1e-4))) /
                               -1e-4;
        if (closing < 0.05) continue;
        CHECK(*closed == doctest::Approx(*searched).epsilon(agreement_mm).scale(1.0));
        ++compared;
      } else if (searched && (kind == ArtefactKind::ball)) {
        FAIL_CHECK("the closed form missed a contact");
      } else if (searched) {
        // Beyond the usable length, depth or face: no surface there.
        const Eigen::Vector3d m = path.at(*searched) - target.place.point_mm;
        const double along = m.dot(target.place.direction);
        const double beside = std::sqrt(std::max(0.0, m.squaredNorm() - along * along));
        const bool off = kind == ArtefactKind::flat  ? beside > 0.5 * target.artefact.size_mm
                         : kind == ArtefactKind::pin ? along < 0.0 || along > 40.0
                                                     : along > 0.0 || along < -40.0;
        CHECK(off);
      }
    }
    CHECK(compared > 60);
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

// Points along the chain against Eigen's own transformations, which share nothing with the formulas.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <numbers>

#include "contact/random_contact.h"
#include "pivotrace/contact/eigen.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using contact::as_eigen;
using contact::Vec3;

namespace {

/// The turn of axis k as a transformation of the whole space.
Eigen::Isometry3d turn_of(const Row<double>& row, int k) {
  const int first = axis_first + k * per_axis;
  const Eigen::Vector3d point(row[first], row[first + 1], row[first + 2]);
  const Eigen::Vector3d direction(row[first + 3], row[first + 4], row[first + 5]);
  return Eigen::Translation3d(point) * Eigen::AngleAxisd(sense_of[k] * row[first + 6], direction) *
         Eigen::Translation3d(-point);
}

Eigen::Vector3d expected_stylus_in_machine(const Case& c) {
  Eigen::Vector3d offset = as_eigen(three(c.row, offset_first));
  if (c.flip) offset = Eigen::AngleAxisd(std::numbers::pi, Eigen::Vector3d::UnitZ()) * offset;
  return as_eigen(three(c.row, shown_first)) + turn_of(c.row, 1) * turn_of(c.row, 3) * offset;
}

Eigen::Isometry3d expected_machine_from_carried(const Case& c) {
  Eigen::Isometry3d whole = Eigen::Isometry3d::Identity();
  if (c.last >= 0) whole = whole * turn_of(c.row, 0);
  if (c.last >= 2) whole = whole * turn_of(c.row, 2);
  return whole;
}

/// Round-off of coordinates below 1 m after four turns.
constexpr double round_off_mm = 1e-12;

}  // namespace

TEST_CASE("a stylus centre travels through the chain as four transformations take it") {
  for (unsigned seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    const auto chain = chain_of(c.row);
    const auto reading = reading_of(c, c.row);
    const Eigen::Vector3d in_machine = expected_stylus_in_machine(c);
    const Eigen::Vector3d in_carried = expected_machine_from_carried(c).inverse() * in_machine;
    CHECK((as_eigen(contact::stylus_in_machine(chain, reading)) - in_machine).norm() <
          round_off_mm);
    CHECK((as_eigen(contact::stylus_in_carried(chain, c.last, reading)) - in_carried).norm() <
          round_off_mm);
  }
}

TEST_CASE("out to the machine and back to the table is no journey") {
  for (unsigned seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    const auto chain = chain_of(c.row);
    const Vec3<double> p = three(c.row, shown_first);
    const Vec3<double> now = contact::machine_from_carried(chain, c.last, p);
    CHECK((as_eigen(now) - expected_machine_from_carried(c) * as_eigen(p)).norm() < round_off_mm);
    CHECK((as_eigen(contact::carried_from_machine(chain, c.last, now)) - as_eigen(p)).norm() <
          round_off_mm);
    const Vec3<double> v = three(c.row, place_direction_first);
    const Vec3<double> seen = contact::machine_from_tool(chain, v);
    CHECK((as_eigen(seen) - turn_of(c.row, 1).linear() * turn_of(c.row, 3).linear() * as_eigen(v))
              .norm() < 1e-14);
    CHECK((as_eigen(contact::tool_from_machine(chain, seen)) - as_eigen(v)).norm() < 1e-14);
    CHECK((as_eigen(contact::machine_from_carried_rotation(chain, c.last)) -
           expected_machine_from_carried(c).linear())
              .norm() < 1e-14);
  }
}

TEST_CASE("a quarter turn written with 0 and 1 is exact in every precision") {
  contact::Chain<float> chain;
  chain.add(false, {{10.0F, 20.0F, 0.0F}}, {{0.0F, 0.0F, 1.0F}}, 1.0F);
  chain.axes[0].stand_at(0.0F, 1.0F);
  const Vec3<float> moved = contact::machine_from_carried(chain, 0, {{15.0F, 20.0F, 7.0F}});
  CHECK(moved[0] == 10.0F);
  CHECK(moved[1] == 25.0F);
  CHECK(moved[2] == 7.0F);
}

TEST_CASE("an axis left-handed by its sense turns the other way") {
  // ISO 841 counts tool relative to work: a table that follows it takes +Y to -Z for A +90
  // (worked by hand).
  contact::Chain<double> chain;
  chain.add(false, {}, {{1.0, 0.0, 0.0}}, turn_sign(TurnSense::left_hand));
  chain.axes[0].stand_at(0.0, 1.0);
  const Vec3<double> moved = contact::machine_from_carried(chain, 0, {{0.0, 10.0, 0.0}});
  CHECK(moved[1] == 0.0);
  CHECK(moved[2] == -10.0);
}

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <Eigen/Geometry>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"

using namespace pivotrace;

namespace {

RotaryAxis axis_along(char letter, const Eigen::Vector3d& direction, AxisSide side, TurnSense turn,
                      const Eigen::Vector3d& centre_mm) {
  RotaryAxis axis;
  axis.letter = letter;
  axis.direction = direction;
  axis.side = side;
  axis.positive_turn = turn;
  axis.centre_mm = centre_mm;
  return axis;
}

Machine with(std::vector<RotaryAxis> axes) {
  Machine machine;
  machine.rotary = std::move(axes);
  return machine;
}

double number(int limit) { return *rc::gen::inRange(-limit * 1000, limit * 1000) / 1000.0; }
Eigen::Vector3d vector(int limit) { return {number(limit), number(limit), number(limit)}; }

Eigen::Vector3d unit_vector() {
  const Eigen::Vector3d v = vector(1) + Eigen::Vector3d(0.3, 0.4, 1.3);
  return v.normalized();
}

TurnSense sense() {
  return *rc::gen::arbitrary<bool>() ? TurnSense::left_hand : TurnSense::right_hand;
}

Machine any_machine() {
  return with({axis_along('A', unit_vector(), AxisSide::work, sense(), vector(300)),
               axis_along('B', unit_vector(), AxisSide::tool, sense(), vector(200)),
               axis_along('C', unit_vector(), AxisSide::work, sense(), vector(300)),
               axis_along('U', unit_vector(), AxisSide::tool, sense(), vector(200))});
}

RotaryAngles any_angles() { return {number(6), number(6), number(6), number(6)}; }

}  // namespace

// Signs worked by hand from ISO 841 (derived here, not quoted): A, B, C are positive right-handed
// about X, Y, Z for the tool relative to the work, so a work-carrying table that follows the
// standard turns left-handed for a positive command.
TEST_CASE("a table that follows ISO 841 carries +Y to -Z for +90 deg about X") {
  const Machine machine = with(
      {axis_along('A', Eigen::Vector3d::UnitX(), AxisSide::work, TurnSense::left_hand, {0, 0, 0})});
  const MachineState state = nominal_state(machine);
  const Eigen::Vector3d moved =
      machine_from_carried(machine, state, 0, {0, 10, 0}, {rad_from_deg(90)});
  CHECK((moved - Eigen::Vector3d(0, 0, -10)).norm() < 1e-12);
}

TEST_CASE("a head that follows ISO 841 swings its stylus from -Z towards -X for +90 deg about Y") {
  // Right-handed about Y takes -Z to -X. The pivot lies 100 mm above the stylus centre.
  const Machine machine = with({axis_along('B', Eigen::Vector3d::UnitY(), AxisSide::tool,
                                           TurnSense::right_hand, {0, 0, 100})});
  const MachineState state = nominal_state(machine);
  const Eigen::Vector3d stylus = stylus_in_machine(machine, state, {5, 6, 7}, {rad_from_deg(90)});
  CHECK((stylus - Eigen::Vector3d(5 - 100, 6, 7 + 100)).norm() < 1e-12);
}

TEST_CASE("turning the spindle by half a turn mirrors the X and Y of the stylus offset") {
  const Machine machine;
  MachineState state = nominal_state(machine);
  state.stylus_offset_mm = {0.1, -0.2, 0.3};
  CHECK((stylus_in_machine(machine, state, {0, 0, 0}, {}, true) - Eigen::Vector3d(-0.1, 0.2, 0.3))
            .norm() < 1e-15);
}

TEST_CASE("laws of the kinematics on any machine") {
  CHECK(rc::check("carried_from_machine undoes machine_from_carried", [] {
    const Machine machine = any_machine();
    const MachineState state = nominal_state(machine);
    const RotaryAngles angles = any_angles();
    const Eigen::Vector3d p = vector(400);
    const Eigen::Vector3d there = machine_from_carried(machine, state, 2, p, angles);
    RC_ASSERT((carried_from_machine(machine, state, 2, there, angles) - p).norm() < 1e-9);
  }));
  CHECK(rc::check("shown_from_stylus undoes stylus_in_machine", [] {
    const Machine machine = any_machine();
    MachineState state = nominal_state(machine);
    state.stylus_offset_mm = vector(1);
    const RotaryAngles angles = any_angles();
    const bool flip = *rc::gen::arbitrary<bool>();
    const Eigen::Vector3d p = vector(400);
    const Eigen::Vector3d stylus = stylus_in_machine(machine, state, p, angles, flip);
    RC_ASSERT((shown_from_stylus(machine, state, stylus, angles, flip) - p).norm() < 1e-9);
  }));
  CHECK(rc::check("carrying keeps distances, and its rotation part is that of the points", [] {
    const Machine machine = any_machine();
    const MachineState state = nominal_state(machine);
    const RotaryAngles angles = any_angles();
    const Eigen::Vector3d p = vector(400);
    const Eigen::Vector3d q = vector(400);
    const Eigen::Vector3d between = machine_from_carried(machine, state, 2, p, angles) -
                                    machine_from_carried(machine, state, 2, q, angles);
    RC_ASSERT(std::abs(between.norm() - (p - q).norm()) < 1e-9);
    const Eigen::Matrix3d rotation = machine_from_carried_rotation(machine, state, 2, angles);
    RC_ASSERT((rotation * (p - q) - between).norm() < 1e-9);
  }));
  CHECK(rc::check("the other sense at the negative angle is the same turn", [] {
    Machine machine = any_machine();
    const RotaryAngles angles = any_angles();
    const Eigen::Vector3d p = vector(400);
    const Eigen::Vector3d before =
        machine_from_carried(machine, nominal_state(machine), 2, p, angles);
    RotaryAngles negative = angles;
    negative[0] = -angles[0];
    TurnSense& turn = machine.rotary[0].positive_turn;
    turn = turn == TurnSense::left_hand ? TurnSense::right_hand : TurnSense::left_hand;
    RC_ASSERT(
        (machine_from_carried(machine, nominal_state(machine), 2, p, negative) - before).norm() <
        1e-9);
  }));
  CHECK(rc::check(
      "a touch on the surface has no gap, and the gap grows along the outward normal", [] {
        const ArtefactPlace place{vector(100), unit_vector(), 10.0 + std::abs(number(5))};
        const Eigen::Vector3d p = place.point_mm + 3.0 * unit_vector() + vector(4);
        for (const ArtefactKind kind :
             {ArtefactKind::ball, ArtefactKind::pin, ArtefactKind::bore, ArtefactKind::flat}) {
          const Eigen::Vector3d normal = outward_normal(kind, place, p);
          RC_PRE((p - place.point_mm).cross(place.direction).norm() > 1e-3);
          const double gap = gap_mm(kind, place, 3.0, p);
          const Eigen::Vector3d on_surface = p - gap * normal;
          // Along the normal a ball or pin may be crossed: then the far side is met instead.
          const double left = gap_mm(kind, place, 3.0, on_surface);
          const bool crossed = outward_normal(kind, place, on_surface).dot(normal) < 0.0;
          RC_ASSERT(crossed || std::abs(left) < 1e-9);
        }
      }));
}

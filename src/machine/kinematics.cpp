#include "pivotrace/machine/kinematics.h"

#include <cmath>

#include "pivotrace/contact/eigen.h"

namespace pivotrace {

using contact::as_eigen;
using contact::from_eigen;

contact::Chain<double> chain_at_zero(const Machine& machine, const MachineState& state) {
  contact::Chain<double> chain;
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    const Line& line = state.axis_lines[axis];
    chain.add(machine.rotary[axis].side == AxisSide::tool, from_eigen(line.point_mm),
              from_eigen(line.direction), turn_sign(state.turns[axis]));
  }
  return chain;
}

void stand_at(contact::Chain<double>& chain, const RotaryAngles& angles_rad) {
  for (int axis = 0; axis < chain.count; ++axis) {
    if (angles_rad[axis] == 0.0) continue;
    chain.axes[axis].stand_at(std::cos(angles_rad[axis]), std::sin(angles_rad[axis]));
  }
}

contact::Chain<double> chain_at(const Machine& machine, const MachineState& state,
                                const RotaryAngles& angles_rad) {
  contact::Chain<double> chain = chain_at_zero(machine, state);
  stand_at(chain, angles_rad);
  return chain;
}

contact::Place<double> contact_place(const ArtefactPlace& place) {
  return {from_eigen(place.point_mm), from_eigen(place.direction), place.radius_mm};
}

Eigen::Vector3d stylus_in_machine(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& shown_mm, const RotaryAngles& angles_rad,
                                  bool flip) {
  return as_eigen(
      contact::stylus_in_machine(chain_at(machine, state, angles_rad),
                                 {from_eigen(shown_mm), from_eigen(state.stylus_offset_mm), flip}));
}

Eigen::Vector3d shown_from_stylus(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& stylus_mm, const RotaryAngles& angles_rad,
                                  bool flip) {
  return stylus_mm - stylus_in_machine(machine, state, Eigen::Vector3d::Zero(), angles_rad, flip);
}

Eigen::Vector3d carried_from_machine(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad) {
  return as_eigen(
      contact::carried_from_machine(chain_at(machine, state, angles_rad), last, from_eigen(p_mm)));
}

Eigen::Vector3d machine_from_carried(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad) {
  return as_eigen(
      contact::machine_from_carried(chain_at(machine, state, angles_rad), last, from_eigen(p_mm)));
}

Eigen::Matrix3d machine_from_carried_rotation(const Machine& machine, const MachineState& state,
                                              int last, const RotaryAngles& angles_rad) {
  return as_eigen(
      contact::machine_from_carried_rotation(chain_at(machine, state, angles_rad), last));
}

double gap_mm(ArtefactKind kind, const ArtefactPlace& place, double stylus_radius_mm,
              const Eigen::Vector3d& stylus_in_carried_mm) {
  return contact::gap(kind, contact_place(place), stylus_radius_mm,
                      from_eigen(stylus_in_carried_mm));
}

Eigen::Vector3d outward_normal(ArtefactKind kind, const ArtefactPlace& place,
                               const Eigen::Vector3d& stylus_in_carried_mm) {
  return as_eigen(
      contact::outward_normal(kind, contact_place(place), from_eigen(stylus_in_carried_mm)));
}

}  // namespace pivotrace

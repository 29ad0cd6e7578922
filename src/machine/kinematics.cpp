#include "pivotrace/machine/kinematics.h"

#include <Eigen/Geometry>

#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

namespace {

double body_turn_rad(const MachineState& state, int axis, const RotaryAngles& angles_rad) {
  return turn_sign(state.turns[axis]) * angles_rad[axis];
}

/// Arm from the shown position to the stylus centre, tool-side axes applied innermost first.
Eigen::Vector3d tool_arm(const Machine& machine, const MachineState& state,
                         const RotaryAngles& angles_rad, bool flip) {
  Eigen::Vector3d arm = state.stylus_offset_mm;
  if (flip) arm.head<2>() = -arm.head<2>();
  const std::vector<int> chain = machine.tool_chain();
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
    const Line& line = state.axis_lines[*axis];
    arm = turned_about_line<double>(arm, line.point_mm, line.direction,
                                    body_turn_rad(state, *axis, angles_rad));
  }
  return arm;
}

Eigen::Vector3d away_from_axis(const ArtefactPlace& place, const Eigen::Vector3d& p_mm) {
  return perpendicular_from_line({place.point_mm, place.direction}, p_mm);
}

}  // namespace

Eigen::Vector3d stylus_in_machine(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& shown_mm, const RotaryAngles& angles_rad,
                                  bool flip) {
  return shown_mm + tool_arm(machine, state, angles_rad, flip);
}

Eigen::Vector3d shown_from_stylus(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& stylus_mm, const RotaryAngles& angles_rad,
                                  bool flip) {
  return stylus_mm - tool_arm(machine, state, angles_rad, flip);
}

Eigen::Vector3d carried_from_machine(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad) {
  Eigen::Vector3d p = p_mm;
  for (const int axis : machine.work_chain(last)) {
    const Line& line = state.axis_lines[axis];
    p = turned_about_line<double>(p, line.point_mm, line.direction,
                                  -body_turn_rad(state, axis, angles_rad));
  }
  return p;
}

Eigen::Vector3d machine_from_carried(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad) {
  Eigen::Vector3d p = p_mm;
  const std::vector<int> chain = machine.work_chain(last);
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
    const Line& line = state.axis_lines[*axis];
    p = turned_about_line<double>(p, line.point_mm, line.direction,
                                  body_turn_rad(state, *axis, angles_rad));
  }
  return p;
}

Eigen::Matrix3d machine_from_carried_rotation(const Machine& machine, const MachineState& state,
                                              int last, const RotaryAngles& angles_rad) {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  for (const int axis : machine.work_chain(last)) {
    rotation = rotation * rotation_matrix(state.axis_lines[axis].direction,
                                          body_turn_rad(state, axis, angles_rad));
  }
  return rotation;
}

double gap_mm(ArtefactKind kind, const ArtefactPlace& place, double stylus_radius_mm,
              const Eigen::Vector3d& stylus_in_carried_mm) {
  switch (kind) {
    case ArtefactKind::ball:
      return (stylus_in_carried_mm - place.point_mm).norm() - (place.radius_mm + stylus_radius_mm);
    case ArtefactKind::pin:
      return away_from_axis(place, stylus_in_carried_mm).norm() -
             (place.radius_mm + stylus_radius_mm);
    case ArtefactKind::bore:
      return (place.radius_mm - stylus_radius_mm) -
             away_from_axis(place, stylus_in_carried_mm).norm();
    case ArtefactKind::flat:
      return place.direction.dot(stylus_in_carried_mm - place.point_mm) - stylus_radius_mm;
  }
  return 0.0;
}

Eigen::Vector3d outward_normal(ArtefactKind kind, const ArtefactPlace& place,
                               const Eigen::Vector3d& stylus_in_carried_mm) {
  switch (kind) {
    case ArtefactKind::ball: return (stylus_in_carried_mm - place.point_mm).normalized();
    case ArtefactKind::pin: return away_from_axis(place, stylus_in_carried_mm).normalized();
    case ArtefactKind::bore: return -away_from_axis(place, stylus_in_carried_mm).normalized();
    case ArtefactKind::flat: return place.direction;
  }
  return Eigen::Vector3d::Zero();
}

}  // namespace pivotrace

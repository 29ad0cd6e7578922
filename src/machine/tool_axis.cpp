#include "pivotrace/machine/tool_axis.h"

#include "pivotrace/contact/eigen.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

using contact::as_eigen;

Eigen::Matrix3d tool_rotation(const Machine& machine, const MachineState& state,
                              const RotaryAngles& angles_rad) {
  return as_eigen(contact::machine_from_tool_rotation(chain_at(machine, state, angles_rad)));
}

Eigen::Vector3d tool_axis_in_machine(const Machine& machine, const MachineState& state,
                                     const RotaryAngles& angles_rad) {
  const contact::Vec3<double> up{{0.0, 0.0, 1.0}};
  return as_eigen(contact::machine_from_tool(chain_at(machine, state, angles_rad), up));
}

Eigen::Vector3d direction_in_tool(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& direction_in_machine,
                                  const RotaryAngles& angles_rad) {
  return as_eigen(contact::tool_from_machine(chain_at(machine, state, angles_rad),
                                             contact::from_eigen(direction_in_machine)));
}

}  // namespace pivotrace

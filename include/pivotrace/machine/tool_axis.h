// Directions of the tool: the machine frame as the tool-side rotary axes have turned the spindle.
#pragma once

#include "pivotrace/machine/state.h"

namespace pivotrace {

/// Machine frame from tool frame, 3x3: the identity with all tool-side axes at 0.
Eigen::Matrix3d tool_rotation(const Machine& machine, const MachineState& state,
                              const RotaryAngles& angles_rad);

/// Direction of the tool axis (stylus ball to spindle), machine frame.
Eigen::Vector3d tool_axis_in_machine(const Machine& machine, const MachineState& state,
                                     const RotaryAngles& angles_rad);

/// A direction of the machine frame, seen from the tool (tool-side axes turned back).
Eigen::Vector3d direction_in_tool(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& direction_in_machine,
                                  const RotaryAngles& angles_rad);

}  // namespace pivotrace

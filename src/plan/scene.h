// Everything solid near the stylus, as convex bodies at given rotary angles.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/machine/assumed_solids.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_part.h"
#include "plan/convex.h"

namespace pivotrace {

struct SceneBody {
  ConvexBody body;
  std::string name;      ///< "ball", "stem of ball", "faceplate"
  int artefact = -1;     ///< index when it is the surface of an artefact itself
  bool labelled = true;  ///< in a drawing; a stem stands for itself
  int carried_by = -1;   ///< as for an artefact
};

struct ToolBody {
  ConvexBody body;
  ToolPart part = ToolPart::stylus;
};

/// Artefacts, stems and obstacles, machine frame.
std::vector<SceneBody> scene_at(const Machine& machine, const MachineState& state,
                                const RotaryAngles& angles_rad);

/// Stylus ball, shank and holder with the stylus centre at `stylus_mm`, the spindle along
/// `tool_axis`. Shank: from the ball's centre up to the stylus length; holder: from there up.
std::vector<ToolBody> tool_at(const Machine& machine, const Eigen::Vector3d& stylus_mm,
                              const Eigen::Vector3d& tool_axis);

/// Largest distance of any point of what axis `axis` carries from its axis line [mm].
double carried_radius_mm(const Machine& machine, const MachineState& state, int axis);

}  // namespace pivotrace

// Where everything is: either nominal (from the machine file), true (in a simulation) or fitted.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "pivotrace/geometry/line.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// Place of one artefact in its carried frame (equal to the machine frame with all rotary at 0).
struct ArtefactPlace {
  Eigen::Vector3d point_mm =
      Eigen::Vector3d::Zero();  ///< ball: centre; pin, bore: point on axis; flat: point on face
  Eigen::Vector3d direction =
      Eigen::Vector3d::UnitZ();  ///< pin, bore: axis; flat: outward normal; ball: unused
  double radius_mm = 0.0;        ///< flat: 0
};

/// A complete set of lines and places for one machine.
struct MachineState {
  std::vector<Line>
      axis_lines;  ///< per Machine::rotary, all axes at 0; tool side: relative to the shown position
  std::vector<TurnSense> turns;          ///< per Machine::rotary
  std::vector<ArtefactPlace> artefacts;  ///< per Machine::artefacts
  double stylus_radius_mm = 0.0;
  /// Stylus-ball centre minus shown position with all tool-side axes at 0 and the spindle unflipped [mm].
  Eigen::Vector3d stylus_offset_mm = Eigen::Vector3d::Zero();
};

/// The state the machine file states. Unknown diameters start at `diameter_mm` or 25 mm.
MachineState nominal_state(const Machine& machine);

}  // namespace pivotrace

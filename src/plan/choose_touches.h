// Which touches to make on one artefact at given angles.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/plan/plan.h"

namespace pivotrace {

struct TouchChoice {
  std::vector<PlannedTouch> touches;  ///< empty: none possible, see `objection`
  std::string objection;
};

/// Preferred pattern where it is free; otherwise the free directions that determine the centre best
/// (largest determinant of the sum of d d', greedily), at least as many as the unknowns need.
TouchChoice choose_touches(const Machine& machine, const MachineState& state,
                           const ProbingDistances& distances, const RotaryAngles& angles_rad,
                           bool flip, int artefact, int equator_touches);

}  // namespace pivotrace

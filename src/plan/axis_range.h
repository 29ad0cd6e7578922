// Which axes a plan can measure, and over which angles.
#pragma once

#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// An axis can be measured when an artefact rides on it, or when it carries the tool.
bool measurable(const Machine& machine, int axis);

/// The usable travel [deg]: run-up taken off below, no spindle pointing upwards, ends that any program can
/// write.
Range usable_deg(const Machine& machine, const MachineState& state,
                 const ProbingDistances& distances, int axis);

}  // namespace pivotrace

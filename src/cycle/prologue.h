// What comes before the first step of a cycle: why it cannot be made, and what its head says.
#pragma once

#include "cycle/cycle_job.h"
#include "pivotrace/base/problem.h"
#include "pivotrace/control/steps.h"

namespace pivotrace {

/// Options and plans that no steps can carry out.
Problems objections_to(const CycleJob& job);

/// A program without steps: title, identity, what it will do in lines a machinist can follow.
ControlProgram headed_program(const CycleJob& job);

}  // namespace pivotrace

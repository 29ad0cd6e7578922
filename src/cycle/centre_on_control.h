// The centre of an axis as the control itself found it: shown with its spread and its distance from
// the machine file's, and written to a work offset when that was asked for.
#pragma once

#include "cycle/cycle_moves.h"
#include "cycle/running_centre.h"

namespace pivotrace {

void write_centre_on_control(StepRecorder& steps, const CycleJob& job, const CycleMoves& moves,
                             const Part& part, const FoundCentre& centre);

}  // namespace pivotrace

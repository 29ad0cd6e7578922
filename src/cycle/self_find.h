// The very first touch, from where the operator jogged to: it tells how far the real places are from
// those of the file.
#pragma once

#include "cycle/cycle_geometry.h"
#include "cycle/cycle_moves.h"

namespace pivotrace {

/// Moves the places of all targets by what is found; the program stops where that is more than the
/// file may be off.
void write_self_find(StepRecorder& steps, const CycleJob& job, const CycleVariables& variables,
                     const AxisCentres& centres);

}  // namespace pivotrace

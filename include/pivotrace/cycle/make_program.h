// The one call behind `pivotrace cycle`: a plan in, a program out, or every reason why not.
#pragma once

#include "pivotrace/control/emit.h"
#include "pivotrace/cycle/make_cycle.h"

namespace pivotrace {

/// Checks the plan against the machine, the control sheet against the plan, and spells the program: as
/// loops over tables where the control has loops and enough variables, touch by touch otherwise
/// (options.loops is overruled). Errors: P1xx and P4xx of check_plan, P402, P403.
Expected<EmittedProgram> make_program(const Machine& machine, const Plan& plan,
                                      const ControlSheet& sheet, CycleOptions options = {});

}  // namespace pivotrace

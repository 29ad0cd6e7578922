// The sheet that goes to the machine with the program: one printable HTML page.
#pragma once

#include <string>

#include "pivotrace/cycle/make_program.h"

namespace pivotrace {

/// Drawing, what to mount where, stylus, what to check first, parameters, expected minutes,
/// cautions, and blanks for date and name. Stands alone: no other files, no scripts.
std::string setup_sheet(const Machine& machine, const Plan& plan, const ControlSheet& sheet,
                        const EmittedProgram& program, const CycleOptions& options);

}  // namespace pivotrace

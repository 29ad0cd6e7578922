// What a work offset must not ask of the machine: angles and places outside its limits.
#pragma once

#include "pivotrace/pivots/reseat.h"

namespace pivotrace {

/// P114 when the machine file is not of the machine that was measured: another name, or other
/// rotary axes on the work side.
Problems other_machine(const FitResult& result, const Machine& machine);

/// P105 for each axis that is asked beyond its limits, by the taught position or a target.
Problems beyond_rotary_limits(const FitResult& result, const Machine& machine,
                              const ReseatRequest& request);

/// P105 for each linear axis whose travel does not hold the taught offset or one of the table.
Problems outside_travel(const FitResult& result, const Machine& machine,
                        const ReseatRequest& request, const ReseatTable& table);

}  // namespace pivotrace

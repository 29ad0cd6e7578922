// The pivot values of a result, listed.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/pivot_values.h"

namespace pivotrace {

/// `pivotrace write --list` as text: name, value, U95 and unit, under it the meaning; notes last.
std::string list_pivot_values(const std::vector<PivotValue>& values, LengthUnit unit,
                              bool simulated);

}  // namespace pivotrace

// What moved, as a drawing.
#pragma once

#include <string>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/compare.h"

namespace pivotrace {

/// Every axis both surveys found, old and new, seen from two sides at one scale that is written on it: an
/// SVG file of its own. An axis quoted in two planes is shown in the old one.
std::string comparison_svg(const SurveyComparison& comparison, LengthUnit unit);

}  // namespace pivotrace

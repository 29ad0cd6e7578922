// A comparison as JSON (schema examples/schemas/comparison-1.schema.json).
#pragma once

#include <string>

#include "pivotrace/results/compare.h"

namespace pivotrace {

inline constexpr const char* comparison_format = "pivotrace-comparison-1";

/// Lengths mm, angles degrees (each value names its unit). `moved` is null where nobody can tell.
std::string write_comparison(const SurveyComparison& comparison);

}  // namespace pivotrace

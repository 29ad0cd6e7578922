// How to shim and tap a unit straight, in words and as JSON.
#pragma once

#include <string>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/pivots/shim.h"

namespace pivotrace {

/// Lengths in `unit`.
std::string shim_text(const FitResult& result, const ShimAdvice& advice, LengthUnit unit);
/// Lengths in mm, as every key says.
std::string shim_json(const FitResult& result, const ShimAdvice& advice);

}  // namespace pivotrace

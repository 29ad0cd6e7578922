// How to shim and tap a unit straight, in words and as JSON.
#pragma once

#include <string>

#include "pivotrace/pivots/shim.h"

namespace pivotrace {

std::string shim_text(const FitResult& result, const ShimAdvice& advice);
std::string shim_json(const FitResult& result, const ShimAdvice& advice);

}  // namespace pivotrace

// The files a result came from.
#pragma once

#include <algorithm>
#include <string_view>

#include "pivotrace/results/result.h"

namespace pivotrace::app {

/// The input of this role ("machine", "touches", "plan"); nullptr where the result names none.
inline const InputFile* input_named(const FitResult& result, std::string_view role) {
  const auto found = std::find_if(result.inputs.begin(), result.inputs.end(),
                                  [role](const InputFile& input) { return input.role == role; });
  return found == result.inputs.end() ? nullptr : &*found;
}

}  // namespace pivotrace::app

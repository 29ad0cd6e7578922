// A touch record fitted on the spot, for verbs that take it in place of a result.
#pragma once

#include <string>

#include "app/console.h"
#include "pivotrace/results/result.h"

namespace pivotrace::app {

/// The result `fit` would write, with inputs and conditions.
Expected<FitResult> fitted_record(const std::string& machine_file, const std::string& touch_file,
                                  FileCalls& disk);

}  // namespace pivotrace::app

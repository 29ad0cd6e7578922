// What every program that sets work offsets has alike: where its numbers come from, its cautions, and
// the stop before anything is set.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/control/steps.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

inline constexpr const char* only_this_set_up =
    "Only for the machine named above and the set-up measured.";

/// When the touches were made and when they were fitted.
std::string measured_line(const FitResult& result);

/// A program without settings yet: title and head, then a stop that names the offsets it `sets`.
ControlProgram offset_setting(const std::string& title, const FitResult& result, LengthUnit unit,
                              std::vector<std::string> header, const std::string& sets);

}  // namespace pivotrace

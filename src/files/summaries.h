// A few lines in plain words on what a file says, so that a user sees it was understood.
#pragma once

#include <string>

#include "pivotrace/estimate/result.h"
#include "pivotrace/files/touch_file.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::files {

/// Lengths in the unit of the machine file. Ends with notes on what was assumed.
std::string summary_of(const Machine& machine);

std::string summary_of(const Survey& survey, const Machine& machine);
std::string summary_of(const TouchRecordOutline& outline);
std::string summary_of(const FitResult& result);

}  // namespace pivotrace::files

// A few lines in plain words on what a file says, so that a user sees it was understood.
#pragma once

#include <string>

#include "pivotrace/control/control_sheet.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/pivots/limits.h"
#include "pivotrace/pivots/mapping.h"
#include "pivotrace/pivots/shim.h"
#include "pivotrace/plan/plan.h"
#include "pivotrace/results/result.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::report {

/// Lengths in the unit of the machine file. Ends with notes on what was assumed.
std::string summary_of(const Machine& machine);

std::string summary_of(const Survey& survey, const Machine& machine);
std::string summary_of(const TouchRecordOutline& outline);
std::string summary_of(const FitResult& result);
std::string summary_of(const Limits& limits);
std::string summary_of(const Mapping& mapping);
std::string summary_of(const Mounting& mounting);
std::string summary_of(const Plan& plan);
std::string summary_of(const ControlSheet& sheet);
/// What differs from the machine file, in its unit.
std::string summary_of(const RehearsalTruth& truth, const Machine& machine);
std::string summary_of(const TruthOutline& outline);

}  // namespace pivotrace::report

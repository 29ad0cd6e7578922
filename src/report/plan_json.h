// What a plan promises and proves, as a part of a larger JSON text.
#pragma once

#include "formats/json_writer.h"
#include "pivotrace/plan/make_plan.h"

namespace pivotrace::report {

/// {"plan": {identity, minutes, touches, predicted, wanted, least_redundancy, certificate}}: lengths mm,
/// angles degrees.
void add_judged_plan(formats::JsonWriter& json, const PlanOutcome& outcome);

}  // namespace pivotrace::report

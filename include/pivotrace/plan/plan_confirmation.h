// The shortest survey that can confirm written values within their tolerances.
#pragma once

#include <vector>

#include "pivotrace/plan/make_plan.h"
#include "pivotrace/results/confirm.h"

namespace pivotrace {

struct ConfirmationPlan {
  PlanOutcome outcome;
  /// Values whose predicted U95 leaves no room in their tolerance, however many stations were tried.
  std::vector<ValueName> out_of_reach;
};

/// Tries plans from few stations and touches to many; takes the one of fewest minutes that predicts for
/// every value an absolute U95, with what lies between surveys, within its tolerance; else the one that
/// leaves the fewest values out of reach. Errors: as make_plan.
Expected<ConfirmationPlan> plan_confirmation(const Machine& machine,
                                             const std::vector<ToleratedValue>& values,
                                             double between_surveys_mm);

}  // namespace pivotrace

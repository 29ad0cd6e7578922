// A plan, and the rehearsal of its program, as one page to look at before anything moves.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/plan/plan.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/report/reported_file.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

struct PlanPageOptions {
  LengthUnit unit = LengthUnit::mm;
  std::string date;     ///< of making the page, ISO 8601
  std::string version;  ///< of the program that makes it
  std::vector<ReportedFile> files;
  const RehearsalReport* rehearsal = nullptr;  ///< of the plan's program; null = not rehearsed
};

/// What the plan promises for every value, the set-up, stations with what the rehearsal found at each, the
/// smallest clearance drawn, what the uncertainty will be made of, everything the program tells the operator.
/// `prediction` is predict_plan() of the same plan.
std::string plan_page(const Machine& machine, const Plan& plan, const FitResult& prediction,
                      const PlanPageOptions& options);

}  // namespace pivotrace

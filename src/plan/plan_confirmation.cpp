#include "pivotrace/plan/plan_confirmation.h"

#include <algorithm>

namespace pivotrace {

namespace {

struct Effort {
  int stations;
  int equator_touches;
};

/// Three stations are the fewest a line can be told from; beyond these a commissioning survey is the
/// better answer.
constexpr Effort efforts[] = {{3, 3}, {3, 4}, {4, 4}, {4, 5}, {6, 5}, {8, 5}, {12, 5}};

std::vector<ValueName> out_of_reach(const PlanOutcome& outcome,
                                    const std::vector<ToleratedValue>& values,
                                    double between_surveys_mm) {
  std::vector<ValueName> names;
  for (const ToleratedValue& value : values) {
    const auto predicted =
        std::ranges::find(outcome.plan.predicted, value.name, &PredictedOutput::name);
    const double bias = is_angle(value.name) ? 0.0 : between_surveys_mm;
    const bool reached = predicted != outcome.plan.predicted.end() &&
                         predicted->U95_absolute + bias <= value.tolerance;
    if (!reached) names.push_back(value.name);
  }
  return names;
}

PlanRequest request_for(const Effort& effort, const std::vector<ToleratedValue>& values) {
  PlanRequest request;
  request.stations = effort.stations;
  request.equator_touches = effort.equator_touches;
  for (const ToleratedValue& value : values) {
    if (std::ranges::find(request.axes, value.name.axis) == request.axes.end()) {
      request.axes.push_back(value.name.axis);
    }
  }
  return request;
}

bool is_better(const ConfirmationPlan& a, const ConfirmationPlan& b) {
  if (a.out_of_reach.size() != b.out_of_reach.size()) {
    return a.out_of_reach.size() < b.out_of_reach.size();
  }
  return a.outcome.plan.minutes < b.outcome.plan.minutes;
}

}  // namespace

Expected<ConfirmationPlan> plan_confirmation(const Machine& machine,
                                             const std::vector<ToleratedValue>& values,
                                             double between_surveys_mm) {
  Expected<ConfirmationPlan> best = failure({ProblemNumber::cannot_plan,
                                             "no survey was found that turns every axis",
                                             {},
                                             "see pivotrace plan"});
  for (const Effort& effort : efforts) {
    auto outcome = make_plan(machine, request_for(effort, values));
    if (!outcome) {
      if (!best) best = tl::make_unexpected(outcome.error());
      continue;
    }
    ConfirmationPlan plan{std::move(*outcome), {}};
    plan.out_of_reach = out_of_reach(plan.outcome, values, between_surveys_mm);
    if (!best || is_better(plan, *best)) best = std::move(plan);
  }
  return best;
}

}  // namespace pivotrace

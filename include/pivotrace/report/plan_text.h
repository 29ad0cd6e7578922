// A plan for people: what the terminal shows.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/plan/find_plan.h"

namespace pivotrace {

/// Stations, touches, minutes, predicted U95 of every output, what limits it, what one more station
/// or ball would buy, and what was left out and why.
std::string plan_text(const Machine& machine, const PlanOutcome& outcome);

/// The same as JSON, "pivotrace-plan-1": lengths mm, angles degrees.
std::string plan_json(const Machine& machine, const PlanOutcome& outcome);

/// The certificate with everything it rests on, "pivotrace-certificate-1": every visit with angles, touches
/// and least minutes, what is wanted, vectors and weights. Lengths mm, angles degrees, in vectors radians.
std::string certificate_json(const Machine& machine, const PlanOutcome& outcome,
                             const std::vector<CertifiedVisit>& visits);

/// Of a plan looked at again: minutes and U95 predicted anew, and how close it comes to what is possible.
std::string judged_plan_text(const Machine& machine, const PlanOutcome& outcome);

}  // namespace pivotrace

// The jobs on which coverage and blunder detection are measured. Every machine is invented.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "scenarios.h"

namespace pivotrace::testing {

/// A machine, a truth and a plan under a name. The axis judged is the first one.
struct Job {
  std::string name;
  Scenario scenario;
  /// What stands in the record of a survey of the touches; empty = the touches as they are.
  std::function<Survey(Survey, const SurveyTruth&)> record;
  bool triggers = true;  ///< read by something whose trigger may be lobed; an indicator has none

  bool disturbed_by(const Bound& bound) const {
    return bound.kind != BoundKind::between_surveys &&
           (triggers || bound.kind != BoundKind::lobing);
  }
};

/// The record of a survey of the job.
inline Survey recorded(const Job& job, Survey survey, const SurveyTruth& truth) {
  return job.record ? job.record(std::move(survey), truth) : survey;
}

/// 4th axis 12 x 5, 12 x 25, 4 x 5; trunnion with two balls; pin in a chuck; swivel head.
std::vector<Job> coverage_jobs();

/// Every other kind of machine, artefact and record: two axes, heads, slanted axes, bores, flats, mixed,
/// diameters nobody knows; inches, stylus tips, ball centres, both sides of the spindle, a short arc, an
/// indicator.
std::vector<Job> further_jobs();

/// Those of `coverage_jobs`, then the further ones.
std::vector<Job> all_jobs();

}  // namespace pivotrace::testing

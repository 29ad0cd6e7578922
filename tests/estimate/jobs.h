// The jobs on which coverage and blunder detection are measured. Every machine is invented.
#pragma once

#include <string>
#include <vector>

#include "scenarios.h"

namespace pivotrace::testing {

/// A machine, a truth and a plan under a name. The axis judged is the first one.
struct Job {
  std::string name;
  Scenario scenario;
};

/// 4th axis 12 x 5, 12 x 25, 4 x 5; trunnion with two balls; pin in a chuck; swivel head.
std::vector<Job> coverage_jobs();

/// What the model leaves out, switched on in the truth.
struct Disturbance {
  std::string name;
  double lobing_mm = 0.0;
  double drift_mm_per_run = 0.0;
  double squareness = 0.0;  ///< mm/mm, all three planes
  double scale = 0.0;       ///< mm/mm, Y against X and Z
};
std::vector<Disturbance> disturbances();
SurveyTruth disturbed(const Scenario& scenario, const Disturbance& disturbance);

}  // namespace pivotrace::testing

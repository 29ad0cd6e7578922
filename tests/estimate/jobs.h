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

/// Every other kind of machine and artefact: two axes, heads, slanted axes, bores, flats, mixed,
/// diameters nobody knows.
std::vector<Job> further_jobs();

}  // namespace pivotrace::testing

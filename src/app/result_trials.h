// Trials of a result that was fitted before: the files it names are read again, and must be as they were.
#pragma once

#include <cstdint>
#include <vector>

#include "app/console.h"
#include "pivotrace/report/result_page.h"
#include "pivotrace/results/result.h"

namespace pivotrace::app {

struct TrialRequest {
  int trials = 0;
  std::uint64_t seed = 1;
};

/// Repeats the survey of a result on paper, solving for what it solved for, and keeps what every trial made of
/// every value.
/// Errors: P115 a file it came from was changed, or is not named; as readers and run_trials.
Expected<std::vector<TrialSpread>> spreads_of(const FitResult& result, const TrialRequest& request,
                                              const Console& console);

}  // namespace pivotrace::app

// The pass after the last step: how far each touch and each station stands out, and how the axes feel
// scales and squarenesses.
#pragma once

#include "embedded/outcome.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Before the first station: nothing found, nothing felt.
void begin_tests(Work& work, pivotrace_result& result);

/// Tests the next station against the solution of the last pass.
void test_station(Work& work, pivotrace_result& result);

/// Limits and verdicts, once all stations were tested.
void judge(Work& work, pivotrace_result& result);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

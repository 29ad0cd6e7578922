// Walks every made-up fault through every touch of a program, and says where it did not end safely.
#pragma once

#include <string>
#include <vector>

#include "rehearsal/demo_loop.h"

namespace pivotrace::test {

/// One rehearsal with a fault that did not end as it must.
struct UnsafeEnd {
  Fault fault;
  std::string why;
};

struct FaultWalk {
  int rehearsals = 0;
  int stopped = 0;       ///< the program stopped itself, retracted where the control can
  int recognised = 0;    ///< it ran to its end, and `fit` refuses, warns or leaves touches out
  int without_harm = 0;  ///< it ran to its end, and the fit holds the truth all the same
  std::vector<UnsafeEnd> unsafe;
};

/// Every `step`-th touch from `first` on; 1 and 1 = every touch.
FaultWalk walk_faults(const DemoLoop& loop, const RehearsalTruth& truth, int first, int step);

}  // namespace pivotrace::test

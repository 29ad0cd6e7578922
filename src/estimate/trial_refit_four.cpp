#include "estimate/trial_kernel.h"
#include "pivotrace/contact/lanes.h"

namespace pivotrace::trial {

namespace {
struct ThisBuild {};
}  // namespace

void refit_four(const Problem& problem, const double* draws, double* scratch, double* unknowns) {
  Refit<contact::Lanes<4, ThisBuild>>(problem, scratch).run(draws, unknowns);
}

}  // namespace pivotrace::trial

#include "estimate/trial_kernel.h"
#include "pivotrace/contact/lanes.h"

namespace pivotrace::trial {

namespace {
struct ThisBuild {};
}  // namespace

void refit_two(const Problem& problem, const double* draws, double* scratch, double* unknowns) {
  Refit<contact::Lanes<2, ThisBuild>>(problem, scratch).run(draws, unknowns);
}

}  // namespace pivotrace::trial

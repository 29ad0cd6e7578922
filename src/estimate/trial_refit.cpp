#include "estimate/trial_refit.h"

namespace pivotrace::trial {

Kernels kernels_here() {
  Kernels kernels{{{2, refit_two}, {}, {}}, 1};
#ifdef PIVOTRACE_WIDE_LANES
  if (__builtin_cpu_supports("avx2")) kernels.kernel[kernels.count++] = {4, refit_four};
  if (__builtin_cpu_supports("avx512f")) kernels.kernel[kernels.count++] = {8, refit_eight};
#endif
  return kernels;
}

}  // namespace pivotrace::trial

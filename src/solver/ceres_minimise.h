// Ceres behind the door. Ceres itself is included in ceres_minimise.cpp alone: it pulls in glog, whose
// macros would replace others of the same name.
#pragma once

#include "pivotrace/solver/minimise.h"

namespace pivotrace {

#ifdef PIVOTRACE_CERES
inline constexpr bool built_with_ceres = true;
#else
inline constexpr bool built_with_ceres = false;
#endif

LeastSquaresMinimum minimise_with_ceres(const LeastSquaresProblem& problem,
                                        const Eigen::VectorXd& start, int max_iterations);

}  // namespace pivotrace

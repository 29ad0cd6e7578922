// Our own minimiser: damped Gauss-Newton on Householder rows.
#pragma once

#include "pivotrace/solver/minimise.h"

namespace pivotrace {

/// Every block is brought to triangular form by reflections that take its nuisances out; what is left
/// goes into one triangular factor of the unknowns (square-root information), so J'J is never formed
/// and the condition number never squared. Cost is linear in the blocks. Nuisances keep their own
/// values and are moved with the unknowns: the answer is the minimum of the bent problem, not of one
/// straightened at z = 0.
LeastSquaresMinimum minimise_by_gauss_newton(const LeastSquaresProblem& problem,
                                             const Eigen::VectorXd& start, int max_iterations);

}  // namespace pivotrace

#include "pivotrace/solver/minimise.h"

#include "solver/ceres_minimise.h"
#include "solver/gauss_newton.h"

namespace pivotrace {

bool has_solver(Solver solver) { return solver == Solver::gauss_newton || built_with_ceres; }

Solver default_solver() { return built_with_ceres ? Solver::ceres : Solver::gauss_newton; }

LeastSquaresMinimum minimise(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                             const MinimiserOptions& options) {
  if constexpr (built_with_ceres) {
    if (options.solver == Solver::ceres) {
      return minimise_with_ceres(problem, start, options.max_iterations);
    }
  }
  return minimise_by_gauss_newton(problem, start, options.max_iterations);
}

}  // namespace pivotrace

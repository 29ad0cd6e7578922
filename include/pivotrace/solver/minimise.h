// The one door to every minimiser of sums of squares.
#pragma once

#include <Eigen/Core>

#include "pivotrace/solver/least_squares.h"

namespace pivotrace {

/// Two independent ways to the same minimum. They agree to `solver_agreement_mm` and
/// `solver_agreement_rad`.
enum class Solver {
  ceres,         ///< the library Ceres Solver: trust region, Schur complement
  gauss_newton,  ///< this project's own: Householder rows, nothing but Eigen
};

/// Whether this build has the solver: Ceres can be left out (CMake option PIVOTRACE_CERES).
bool has_solver(Solver solver);

/// Ceres where this build has it, else our own.
Solver default_solver();

struct MinimiserOptions {
  int max_iterations = 50;
  Solver solver = default_solver();  ///< must be in this build
};

enum class MinimumStatus {
  not_started,
  settled,       ///< no step makes the sum smaller any more
  out_of_steps,  ///< max_iterations came first
  ran_away,      ///< a number is not finite: nothing below may be used
};

/// Where a minimiser ended.
struct LeastSquaresMinimum {
  MinimumStatus status = MinimumStatus::not_started;
  Eigen::VectorXd unknowns;
  int iterations = -1;
  double seconds = 0.0;

  bool settled() const { return status == MinimumStatus::settled; }
};

/// Minimises from `start` (p), nuisances from 0.
LeastSquaresMinimum minimise(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                             const MinimiserOptions& options = {});

/// How far two solvers may differ at the minimum of a survey whose touches scatter as stated; where
/// they scatter more, in proportion. Held by the tests.
inline constexpr double solver_agreement_mm = 1e-9;
inline constexpr double solver_agreement_rad = 1e-10;

}  // namespace pivotrace

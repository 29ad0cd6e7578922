// Least squares without forming J'J: whitened rows go into an upper-triangular factor one block
// at a time, so memory stays p x p however many rows there are.
#pragma once

#include <Eigen/Core>

namespace pivotrace {

/// What the rows seen so far say about the unknowns.
struct InformationSolution {
  int unknowns = 0;
  int rank = 0;
  double condition = 0.0;      ///< largest / smallest singular value after column scaling
  Eigen::VectorXd step;        ///< minimiser of |J x + r|, (p); not filled when rank < unknowns
  Eigen::MatrixXd covariance;  ///< (J'J)^-1, (p x p); not filled when rank < unknowns
  Eigen::MatrixXd null_directions;  ///< (p x (p - rank)), unit columns in unscaled unknowns

  bool full_rank() const { return unknowns > 0 && rank == unknowns; }
};

/// Relative singular value, after column scaling, below which a direction counts as not seen.
inline constexpr double default_rank_tolerance = 1e-10;

/// Upper-triangular R with R'R = J'J, kept by Householder reflections (square-root information
/// form: Bierman, Factorization Methods for Discrete Sequential Estimation, 1977, ch. V; cited from
/// memory). Round-off grows with cond(J), not with its square as for normal equations.
/// Rows wait until there are enough of them to be worth a round of reflections; whatever asks for an
/// answer takes in those that wait.
class SquareRootInformation {
 public:
  explicit SquareRootInformation(int unknowns);

  /// Adds whitened rows `jacobian` (m x p) and whitened residuals (m).
  void add(const Eigen::Ref<const Eigen::MatrixXd>& jacobian,
           const Eigen::Ref<const Eigen::VectorXd>& residuals);

  /// Number of rows added.
  long rows() const { return rows_; }

  /// min over x of |J x + r|^2 for the rows seen so far.
  double residual_sum_of_squares();

  /// |r|^2 less its minimum: what the best x takes off.
  double explained_sum_of_squares();

  /// R beside the transformed residuals, (p x (p + 1)): the same problem in p rows, but for what they
  /// cannot explain.
  Eigen::MatrixXd triangle();

  /// Minimiser of |J x + r| (p) by back-substitution alone: not finite where an unknown is not seen.
  Eigen::VectorXd back_substituted();

  /// Minimiser, covariance and rank by singular values.
  InformationSolution solve(double rank_tolerance = default_rank_tolerance);

 private:
  void take_in_waiting();

  Eigen::Index unknowns_;
  Eigen::MatrixXd stack_;  // R and the transformed residuals, p x (p + 1); below it what waits
  Eigen::Index waiting_ = 0;
  double residual_sum_of_squares_ = 0.0;
  long rows_ = 0;
};

}  // namespace pivotrace

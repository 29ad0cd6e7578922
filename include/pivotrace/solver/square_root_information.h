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
class SquareRootInformation {
 public:
  explicit SquareRootInformation(int unknowns);

  /// Adds whitened rows `jacobian` (m x p) and whitened residuals (m).
  void add(const Eigen::Ref<const Eigen::MatrixXd>& jacobian,
           const Eigen::Ref<const Eigen::VectorXd>& residuals);

  /// Number of rows added.
  long rows() const { return rows_; }

  /// min over x of |J x + r|^2 for the rows seen so far.
  double residual_sum_of_squares() const { return residual_sum_of_squares_; }

  InformationSolution solve(double rank_tolerance = default_rank_tolerance) const;

 private:
  Eigen::MatrixXd factor_;  // p x (p + 1): R and the transformed residuals
  double residual_sum_of_squares_ = 0.0;
  long rows_ = 0;
};

}  // namespace pivotrace

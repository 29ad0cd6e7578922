// A sum of squares as the minimisers see it: blocks of readings that share a few unknowns, each block
// with errors of its own. What the numbers mean is the business of whoever states the problem.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <vector>

namespace pivotrace {

/// Readings of one block in units of their own sigma, and their derivatives.
struct BlockRows {
  Eigen::VectorXd residual;     ///< (m)
  Eigen::MatrixXd by_unknown;   ///< (m x p)
  Eigen::MatrixXd by_nuisance;  ///< (m x k)
};

/// The rows of one block at fixed unknowns and at these nuisances (k), residual and derivatives.
using BlockEvaluator =
    std::function<void(int block, const Eigen::VectorXd& nuisances, BlockRows& rows)>;

/// What is known of the unknowns beforehand: the term |root (x - mean)|^2.
struct LinearPrior {
  Eigen::MatrixXd root;  ///< (r x p), r = 0 where nothing is known
  Eigen::VectorXd mean;  ///< (p)

  Eigen::VectorXd residual(const Eigen::VectorXd& unknowns) const {
    return root * (unknowns - mean);
  }
};

/// To be minimised over the unknowns x (p) and over the nuisances z_b (k) of every block b, which
/// occur in that block alone:
///   sum_b |r_b(x, z_b)|^2 + sum_b |z_b|^2 + |root (x - mean)|^2.
/// r_b may bend in x and in z_b. Nuisances are in units of their own sigma: their rows |z_b|^2 are
/// added by the minimiser.
struct LeastSquaresProblem {
  int unknowns = 0;
  int nuisances = 0;          ///< k, the same for every block
  std::vector<int> readings;  ///< m of every block
  /// Prepares one point; the evaluator may be called for every block, and lives while it is held.
  std::function<BlockEvaluator(const Eigen::VectorXd& unknowns)> at;
  LinearPrior prior;

  int blocks() const { return static_cast<int>(readings.size()); }
};

}  // namespace pivotrace

// The covariance of one station's touches and its inverse, in closed form.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <vector>

#include "estimate/linearisation.h"

namespace pivotrace {

/// Which random effects are present: columns of StationBlock::by_nuisance and their sigmas.
struct ActiveNuisances {
  std::vector<int> columns;
  Eigen::VectorXd sigma;  ///< mm or rad, one per column
  /// Per column: the groups whose variances add up in it, and the share of each.
  std::vector<std::vector<std::pair<int, double>>> groups;

  int count() const { return static_cast<int>(columns.size()); }
};
/// Every station taken for itself: what a search for the minimum starts with, before it is asked
/// which stations share an index position. `groups` is empty.
ActiveNuisances active_nuisances(const RandomModel& random);
/// What this station has for itself alone, beside its shared effects.
ActiveNuisances own_nuisances(const Model& model, const RandomModel& random, int station);

/// C = s^2 (I + U U'), U = B diag(sigma) / s, s the touch sigma, B the derivatives by the station's
/// random effects. With S = U'U and M = I + S (k x k, k at most 7), Woodbury gives
///   C^-1 X = (X - U M^-1 U'X) / s^2   and   C^-1 U = U M^-1 / s^2,
/// so nothing larger than m x p is ever formed: linear cost in the touches m.
class StationWeight {
 public:
  StationWeight(const StationBlock& block, const RandomModel& random,
                const ActiveNuisances& active);

  int rows() const { return static_cast<int>(scaled_.rows()); }
  const Eigen::MatrixXd& scaled_nuisances() const { return scaled_; }      ///< U, (m x k)
  const Eigen::MatrixXd& gram() const { return gram_; }                    ///< S, (k x k)
  const Eigen::MatrixXd& inner_inverse() const { return inner_inverse_; }  ///< M^-1, (k x k)
  double touch_variance() const { return touch_variance_; }

  /// (C^-1)_ii of reading i.
  double own_weight(int row) const;

  /// C^-1 X, (m x n).
  Eigen::MatrixXd weigh(const Eigen::Ref<const Eigen::MatrixXd>& x) const;

  /// W X with W'W = C^-1, (m x n): rows of unit, uncorrelated errors.
  Eigen::MatrixXd whiten(const Eigen::Ref<const Eigen::MatrixXd>& x) const;

 private:
  double touch_variance_;
  Eigen::MatrixXd scaled_;
  Eigen::MatrixXd gram_;
  Eigen::MatrixXd inner_inverse_;
  Eigen::MatrixXd inner_root_;  ///< lower-triangular L, L L' = M
};

}  // namespace pivotrace

// Least squares with effects that several stations share, taken out before the unknowns are asked for.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "estimate/shared_effects.h"
#include "pivotrace/solver/square_root_information.h"

namespace pivotrace {

/// Rows [shared effects n | unknowns x | residual] in bordered square-root form: the effects of each
/// position of one axis are reflected out among that position's rows alone, then the border (all
/// other axes), then what is left speaks of the unknowns only. Cost is linear in the rows; only the
/// border and the unknowns are dense.
class JointInformation {
 public:
  JointInformation(const SharedEffects& shared, int unknowns);

  /// Whitened rows of one station: its shared effects (m x a), in the order of `of_station`, the
  /// unknowns (m x p), the residual (m).
  void add_station(int station, const Eigen::Ref<const Eigen::MatrixXd>& by_shared,
                   const Eigen::Ref<const Eigen::MatrixXd>& by_unknown,
                   const Eigen::Ref<const Eigen::VectorXd>& residual);
  /// Rows on the unknowns alone.
  void add(const Eigen::Ref<const Eigen::MatrixXd>& by_unknown,
           const Eigen::Ref<const Eigen::VectorXd>& residual);
  /// n_k = 0 with these sigmas, one per shared effect.
  void add_prior(const Eigen::VectorXd& sigma);

  Eigen::Index rows() const { return rows_; }

  struct Solution {
    InformationSolution unknowns;
    Eigen::VectorXd shared;  ///< (q) minimiser
    Eigen::MatrixXd joint;   ///< ((q + p) x (q + p)) covariance, n first
    double residual_sum_of_squares = 0.0;
  };
  Solution solve(double rank_tolerance = default_rank_tolerance);

 private:
  Eigen::Index trailing() const { return border_ + unknowns_ + 1; }
  void keep(const Eigen::Ref<const Eigen::MatrixXd>& rows);
  void flush();

  const SharedEffects& shared_;
  Eigen::Index unknowns_;
  Eigen::Index border_;
  std::vector<Eigen::MatrixXd> clusters_;  ///< (k x (k + border + p + 1)) triangular
  Eigen::MatrixXd border_factor_;          ///< (b x (b + p + 1)) triangular
  SquareRootInformation information_;
  Eigen::MatrixXd waiting_;  ///< rows over border, unknowns, residual not yet folded in
  Eigen::Index waiting_rows_ = 0;
  Eigen::MatrixXd stack_;
  Eigen::MatrixXd folded_;
  Eigen::VectorXd workspace_;
  Eigen::Index rows_ = 0;
};

}  // namespace pivotrace

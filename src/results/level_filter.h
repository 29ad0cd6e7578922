// Results of values that stay: what each new one says beyond all earlier ones.
#pragma once

#include <optional>
#include <vector>

#include "results/shared_errors.h"

namespace pivotrace {

/// Best linear estimate of the levels and of the errors results share, one result after the other:
///   x_k = level + own_k + sum shifts_kj e_j,  e_j of unit variance,
/// level unknown before the first result. Residuals of each result against the estimate from those before
/// are independent of each other with unit variance (recursive residuals; R. L. Brown, J. Durbin and
/// J. M. Evans, J. Royal Statist. Soc. B 37, 1975, from memory).
class LevelFilter {
 public:
  explicit LevelFilter(const SharedErrors& errors) : errors_(errors) {}

  /// `x` are the values at `at` of the epoch. Its residual, whitened; absent for the first one.
  std::optional<Eigen::VectorXd> add(std::size_t epoch, const std::vector<Eigen::Index>& at,
                                     const Eigen::VectorXd& x);

 private:
  Eigen::Index column_of(std::size_t error);
  void forget(std::size_t epoch);

  const SharedErrors& errors_;
  Eigen::Index levels_ = 0;
  std::vector<std::size_t> kept_;  ///< errors in the state, behind the levels
  Eigen::VectorXd mean_;
  Eigen::MatrixXd covariance_;
};

}  // namespace pivotrace

#include "results/level_filter.h"

#include <Eigen/Cholesky>
#include <algorithm>

namespace pivotrace {

/// An error met for the first time joins with mean 0 and variance 1.
Eigen::Index LevelFilter::column_of(std::size_t error) {
  const auto known = std::ranges::find(kept_, error);
  const auto place = levels_ + static_cast<Eigen::Index>(known - kept_.begin());
  if (known != kept_.end()) return place;
  kept_.push_back(error);
  const Eigen::Index size = place + 1;
  mean_.conservativeResize(size);
  mean_[place] = 0.0;
  covariance_.conservativeResize(size, size);
  covariance_.row(place).setZero();
  covariance_.col(place).setZero();
  covariance_(place, place) = 1.0;
  return place;
}

/// Errors no later result has: what is known of them is in the levels already.
void LevelFilter::forget(std::size_t epoch) {
  std::vector<Eigen::Index> stay(static_cast<std::size_t>(levels_));
  for (Eigen::Index i = 0; i < levels_; ++i) stay[static_cast<std::size_t>(i)] = i;
  std::vector<std::size_t> errors;
  for (std::size_t j = 0; j < kept_.size(); ++j) {
    if (errors_.last_owner[kept_[j]] <= epoch) continue;
    stay.push_back(levels_ + static_cast<Eigen::Index>(j));
    errors.push_back(kept_[j]);
  }
  if (errors.size() == kept_.size()) return;
  kept_ = std::move(errors);
  mean_ = Eigen::VectorXd(mean_(stay));
  covariance_ = Eigen::MatrixXd(covariance_(stay, stay));
}

std::optional<Eigen::VectorXd> LevelFilter::add(std::size_t epoch,
                                                const std::vector<Eigen::Index>& at,
                                                const Eigen::VectorXd& x) {
  const bool first = levels_ == 0;
  if (first) {
    levels_ = x.size();
    mean_ = x;
    covariance_ = Eigen::MatrixXd::Zero(levels_, levels_);
  }
  const std::vector<SharedShift>& shared = errors_.of_epoch[epoch];
  std::vector<Eigen::Index> columns;
  for (const SharedShift& shift : shared) columns.push_back(column_of(shift.error));
  Eigen::MatrixXd seen = Eigen::MatrixXd::Zero(levels_, mean_.size());
  seen.leftCols(levels_).setIdentity();
  for (std::size_t j = 0; j < shared.size(); ++j) seen.col(columns[j]) = shared[j].shifts(at);
  const Eigen::MatrixXd own = errors_.own[epoch](at, at);
  std::optional<Eigen::VectorXd> residual;
  if (first) {
    // level = x - own - shifts e: before this nothing was known of it, and nothing of the errors now.
    const Eigen::MatrixXd shifts = seen.rightCols(mean_.size() - levels_);
    covariance_.topLeftCorner(levels_, levels_) = own + shifts * shifts.transpose();
    covariance_.topRightCorner(levels_, shifts.cols()) = -shifts;
    covariance_.bottomLeftCorner(shifts.cols(), levels_) = -shifts.transpose();
  } else {
    const Eigen::MatrixXd across = covariance_ * seen.transpose();
    const Eigen::LLT<Eigen::MatrixXd> factor(seen * across + own);
    residual = factor.matrixL().solve(x - seen * mean_);
    const Eigen::MatrixXd gain = factor.matrixL().solve(across.transpose());
    mean_ += gain.transpose() * *residual;
    covariance_ -= gain.transpose() * gain;
  }
  forget(epoch);
  return residual;
}

}  // namespace pivotrace

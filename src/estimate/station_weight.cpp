#include "estimate/station_weight.h"

#include <Eigen/Eigenvalues>
#include <cmath>

namespace pivotrace {

ActiveNuisances active_nuisances(const RandomModel& random) {
  ActiveNuisances active;
  std::vector<double> sigmas;
  if (random.station_sigma_mm > 0.0) {
    for (int k = 0; k < 3; ++k) {
      active.columns.push_back(k);
      sigmas.push_back(random.station_sigma_mm);
    }
  }
  for (int axis = 0; axis < max_rotary_axes; ++axis) {
    if (random.index_sigma_rad[axis] <= 0.0) continue;
    active.columns.push_back(3 + axis);
    sigmas.push_back(random.index_sigma_rad[axis]);
  }
  active.sigma =
      Eigen::Map<Eigen::VectorXd>(sigmas.data(), static_cast<Eigen::Index>(sigmas.size()));
  return active;
}

StationWeight::StationWeight(const StationBlock& block, const RandomModel& random,
                             const ActiveNuisances& active)
    : touch_variance_(random.touch_sigma_mm * random.touch_sigma_mm),
      scaled_(block.by_nuisance.rows(), active.count()) {
  for (int k = 0; k < active.count(); ++k) {
    scaled_.col(k) =
        block.by_nuisance.col(active.columns[k]) * (active.sigma[k] / random.touch_sigma_mm);
  }
  gram_ = scaled_.transpose() * scaled_;
  const Eigen::MatrixXd inner = gram_ + Eigen::MatrixXd::Identity(active.count(), active.count());
  inner_inverse_ = inner.llt().solve(Eigen::MatrixXd::Identity(active.count(), active.count()));
}

Eigen::MatrixXd StationWeight::weigh(const Eigen::Ref<const Eigen::MatrixXd>& x) const {
  return (x - scaled_ * (inner_inverse_ * (scaled_.transpose() * x))) / touch_variance_;
}

// W = (I - U K U') / s with K chosen so that (I - U K U')^2 = I - U M^-1 U'. In the eigenbasis of S
// (eigenvalue l): l k^2 - 2 k + 1/(1 + l) = 0, the smaller root being
// k = 1 / ((1 + l) (1 + sqrt(1 / (1 + l)))), which stays finite at l = 0. Derived here.
Eigen::MatrixXd StationWeight::whiten(const Eigen::Ref<const Eigen::MatrixXd>& x) const {
  const double touch_sigma = std::sqrt(touch_variance_);
  if (scaled_.cols() == 0) return x / touch_sigma;
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(gram_);
  const Eigen::ArrayXd grown = 1.0 + eigen.eigenvalues().array().max(0.0);
  const Eigen::VectorXd root = (grown * (1.0 + grown.inverse().sqrt())).inverse();
  const Eigen::MatrixXd kernel =
      eigen.eigenvectors() * root.asDiagonal() * eigen.eigenvectors().transpose();
  return (x - scaled_ * (kernel * (scaled_.transpose() * x))) / touch_sigma;
}

}  // namespace pivotrace

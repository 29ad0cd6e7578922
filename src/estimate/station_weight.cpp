#include "estimate/station_weight.h"

#include <array>
#include <cmath>

namespace pivotrace {

ActiveNuisances active_nuisances(const RandomModel& random) {
  ActiveNuisances active;
  std::vector<double> sigmas;
  double shown_variance = std::pow(random.station_sigma_mm, 2);
  for (const double motion : random.axis_motion_sigma_mm) shown_variance += motion * motion;
  if (shown_variance > 0.0) {
    for (int k = 0; k < 3; ++k) {
      active.columns.push_back(k);
      sigmas.push_back(std::sqrt(shown_variance));
    }
  }
  for (int axis = 0; axis < max_rotary_axes; ++axis) {
    const double sigma =
        std::hypot(random.index_sigma_rad[axis], random.index_repeat_sigma_rad[axis]);
    if (sigma <= 0.0) continue;
    active.columns.push_back(3 + axis);
    sigmas.push_back(sigma);
  }
  active.sigma =
      Eigen::Map<Eigen::VectorXd>(sigmas.data(), static_cast<Eigen::Index>(sigmas.size()));
  return active;
}

ActiveNuisances own_nuisances(const Model& model, const RandomModel& random, int station) {
  ActiveNuisances active;
  const OwnGroups& own = model.shared().own[station];
  std::array<double, 3 + max_rotary_axes> sigmas{};
  for (std::size_t column = 0; column < own.size(); ++column) {
    double variance = 0.0;
    std::vector<std::pair<int, double>> shares;
    for (const int group : own[column]) {
      const double part = std::pow(random.sigma(group), 2);
      variance += part;
      if (part > 0.0) shares.emplace_back(group, part);
    }
    if (!(variance > 0.0)) continue;
    for (auto& [group, share] : shares) share /= variance;
    sigmas[static_cast<std::size_t>(active.count())] = std::sqrt(variance);
    active.columns.push_back(static_cast<int>(column));
    active.groups.push_back(std::move(shares));
  }
  active.sigma = Eigen::Map<Eigen::VectorXd>(sigmas.data(), active.count());
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
  const auto unit = Eigen::MatrixXd::Identity(active.count(), active.count());
  const Eigen::LLT<Eigen::MatrixXd> inner(gram_ + unit);
  inner_inverse_ = inner.solve(unit);
  inner_root_ = inner.matrixL();
}

Eigen::MatrixXd StationWeight::weigh(const Eigen::Ref<const Eigen::MatrixXd>& x) const {
  return (x - scaled_ * (inner_inverse_ * (scaled_.transpose() * x))) / touch_variance_;
}

double StationWeight::own_weight(int row) const {
  const auto u = scaled_.row(row);
  return (1.0 - u.dot(inner_inverse_ * u.transpose())) / touch_variance_;
}

// W = (I - U K U') / s with M = L L' and K = (L' + I)^-1 L^-1: with V = U L^-T, A = (I +
// L^-1)^-1 and V'V = I - L^-1 L^-T the product W'W is (I - V (A + A' - A V'V A') V') / s^2, and
// the bracket is I. Derived here.
Eigen::MatrixXd StationWeight::whiten(const Eigen::Ref<const Eigen::MatrixXd>& x) const {
  const double touch_sigma = std::sqrt(touch_variance_);
  if (scaled_.cols() == 0) return x / touch_sigma;
  Eigen::MatrixXd seen = scaled_.transpose() * x;
  inner_root_.triangularView<Eigen::Lower>().solveInPlace(seen);
  const Eigen::MatrixXd shifted =
      inner_root_.transpose() + Eigen::MatrixXd::Identity(scaled_.cols(), scaled_.cols());
  shifted.triangularView<Eigen::Upper>().solveInPlace(seen);
  return (x - scaled_ * seen) / touch_sigma;
}

}  // namespace pivotrace

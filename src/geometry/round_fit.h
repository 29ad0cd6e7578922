// Circles and spheres are one problem in two and three dimensions: |p - c| = r. No heap.
#pragma once

#include <Eigen/Core>

#include "geometry/cloud.h"
#include "geometry/damped_gauss_newton.h"
#include "geometry/triangular_rows.h"

namespace pivotrace {

/// A circle (D = 2) or sphere (D = 3) in the units of the cloud.
template <int D>
struct RoundShape {
  Eigen::Matrix<double, D, 1> centre = Eigen::Matrix<double, D, 1>::Zero();
  double radius = 0.0;
};

template <int D>
struct RoundFit {
  FitStatus status = FitStatus::not_started;
  RoundShape<D> shape;
  TriangularRows<D + 1> rows;  ///< (d/dc, d/dr | -f) at `shape`
  int iterations = -1;
};

/// Derivatives and residuals of f = |p - c| - r. `at(i)` gives point i of `count`, cloud units.
template <int D, class At>
TriangularRows<D + 1> linearise_round(const RoundShape<D>& shape, std::size_t count, const At& at) {
  TriangularRows<D + 1> rows;
  for (std::size_t i = 0; i < count; ++i) {
    const Eigen::Matrix<double, D, 1> arm = at(i) - shape.centre;
    const double distance = arm.norm();
    Eigen::Matrix<double, D + 1, 1> row;
    row.template head<D>() = -arm / distance;
    row[D] = -1.0;
    rows.add(row, shape.radius - distance);
  }
  return rows;
}

/// |p|^2 = 2 c.p + k, r^2 = |c|^2 + k.
template <int D, class At>
RoundFit<D> fit_round_algebraic(std::size_t count, const At& at) {
  RoundFit<D> fit;
  TriangularRows<D + 1> linear;
  for (std::size_t i = 0; i < count; ++i) {
    const Eigen::Matrix<double, D, 1> p = at(i);
    Eigen::Matrix<double, D + 1, 1> row;
    row.template head<D>() = 2.0 * p;
    row[D] = 1.0;
    linear.add(row, p.squaredNorm());
  }
  fit.status = FitStatus::degenerate;
  if (!(linear.condition() < fit_condition_limit)) return fit;
  const Eigen::Matrix<double, D + 1, 1> solution = linear.solve();
  fit.shape.centre = solution.template head<D>();
  fit.shape.radius = std::sqrt(fit.shape.centre.squaredNorm() + solution[D]);
  fit.rows = linearise_round<D>(fit.shape, count, at);
  fit.iterations = 0;
  if (fit.rows.condition() < fit_condition_limit) fit.status = FitStatus::done;
  return fit;
}

template <int D, class At>
RoundFit<D> fit_round_geometric(std::size_t count, const At& at) {
  RoundFit<D> fit = fit_round_algebraic<D>(count, at);
  if (fit.status != FitStatus::done) return fit;
  const auto linearise = [&](const RoundShape<D>& shape) {
    return linearise_round<D>(shape, count, at);
  };
  const auto moved = [](RoundShape<D> shape, const Eigen::Matrix<double, D + 1, 1>& step) {
    shape.centre += step.template head<D>();
    shape.radius += step[D];
    return shape;
  };
  const auto minimum = damped_gauss_newton(fit.shape, linearise, moved);
  fit.status = minimum.status;
  fit.shape = minimum.state;
  fit.rows = minimum.rows;
  fit.iterations = minimum.iterations;
  if (fit.status == FitStatus::done && !(fit.rows.condition() < fit_condition_limit)) {
    fit.status = FitStatus::degenerate;
  }
  return fit;
}

}  // namespace pivotrace

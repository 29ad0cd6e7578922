#include "pivotrace/geometry/sphere_fit.h"

#include <cmath>

#include "geometry/round_fit.h"

namespace pivotrace {
namespace {

SphereFit in_mm(const Cloud<3>& cloud, const RoundFit<3>& round, std::size_t count) {
  SphereFit fit;
  fit.status = round.status;
  if (round.status != FitStatus::done) return fit;
  fit.centre_mm = cloud.centroid_mm + cloud.unit_mm * round.shape.centre;
  fit.radius_mm = cloud.unit_mm * round.shape.radius;
  fit.rms_mm = cloud.unit_mm * std::sqrt(round.rows.sum_of_squares() / static_cast<double>(count));
  fit.condition = round.rows.condition();
  fit.cofactor = round.rows.cofactor();
  fit.iterations = round.iterations;
  return fit;
}

/// Derivatives and residuals of f = |p - c| - r for the centre alone.
TriangularRows<3> linearise_centre(const Cloud<3>& cloud,
                                   std::span<const Eigen::Vector3d> points_mm,
                                   const Eigen::Vector3d& centre, double radius) {
  TriangularRows<3> rows;
  for (const Eigen::Vector3d& p : points_mm) {
    const Eigen::Vector3d arm = cloud.shifted(p) - centre;
    const double distance = arm.norm();
    rows.add(-arm / distance, radius - distance);
  }
  return rows;
}

}  // namespace

SphereFit fit_sphere_algebraic(std::span<const Eigen::Vector3d> points_mm) {
  SphereFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 4);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;
  const auto at = [&](std::size_t i) { return cloud.shifted(points_mm[i]); };
  return in_mm(cloud, fit_round_algebraic<3>(points_mm.size(), at), points_mm.size());
}

SphereFit fit_sphere(std::span<const Eigen::Vector3d> points_mm) {
  SphereFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 4);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;
  const auto at = [&](std::size_t i) { return cloud.shifted(points_mm[i]); };
  return in_mm(cloud, fit_round_geometric<3>(points_mm.size(), at), points_mm.size());
}

SphereFit fit_sphere_of_radius(std::span<const Eigen::Vector3d> points_mm, double radius_mm,
                               const Eigen::Vector3d& near_mm) {
  SphereFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 3);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;
  if (!std::isfinite(radius_mm) || !near_mm.allFinite()) {
    fit.status = FitStatus::not_finite;
    return fit;
  }
  const double radius = radius_mm / cloud.unit_mm;
  const auto linearise = [&](const Eigen::Vector3d& centre) {
    return linearise_centre(cloud, points_mm, centre, radius);
  };
  const auto moved = [](const Eigen::Vector3d& centre, const Eigen::Vector3d& step) {
    return Eigen::Vector3d(centre + step);
  };
  const auto minimum = damped_gauss_newton(cloud.shifted(near_mm), linearise, moved);
  fit.condition = minimum.rows.condition();
  fit.status = minimum.status;
  // A direction nothing holds also keeps the iteration from settling: name the cause, not it.
  if (!(fit.condition < fit_condition_limit)) fit.status = FitStatus::degenerate;
  if (fit.status != FitStatus::done) return fit;
  fit.centre_mm = cloud.centroid_mm + cloud.unit_mm * minimum.state;
  fit.radius_mm = radius_mm;
  fit.rms_mm = cloud.unit_mm *
               std::sqrt(minimum.rows.sum_of_squares() / static_cast<double>(points_mm.size()));
  fit.cofactor.topLeftCorner<3, 3>() = minimum.rows.cofactor();
  fit.iterations = minimum.iterations;
  return fit;
}

}  // namespace pivotrace

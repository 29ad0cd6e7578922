#include "pivotrace/geometry/circle_fit.h"

#include <algorithm>
#include <cmath>

#include "geometry/round_fit.h"
#include "pivotrace/geometry/plane_fit.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {
namespace {

template <class At>
RoundFit<2> solve(std::size_t count, const At& at, bool algebraic) {
  return algebraic ? fit_round_algebraic<2>(count, at) : fit_round_geometric<2>(count, at);
}

CircleFit circle_fit(std::span<const Eigen::Vector2d> points_mm, bool algebraic) {
  CircleFit fit;
  const Cloud<2> cloud = measure_cloud<2>(points_mm, 3);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;

  const auto at = [&](std::size_t i) { return cloud.shifted(points_mm[i]); };
  const RoundFit<2> round = solve(points_mm.size(), at, algebraic);
  fit.status = round.status;
  if (round.status != FitStatus::done) return fit;
  fit.centre_mm = cloud.centroid_mm + cloud.unit_mm * round.shape.centre;
  fit.radius_mm = cloud.unit_mm * round.shape.radius;
  fit.rms_mm = cloud.unit_mm *
               std::sqrt(round.rows.sum_of_squares() / static_cast<double>(points_mm.size()));
  fit.condition = round.rows.condition();
  fit.cofactor = round.rows.cofactor();
  fit.iterations = round.iterations;
  return fit;
}

SpaceCircleFit space_circle_fit(std::span<const Eigen::Vector3d> points_mm, bool algebraic) {
  SpaceCircleFit fit;
  const PlaneFit plane = fit_plane(points_mm);
  fit.status = plane.status;
  if (plane.status != FitStatus::done) return fit;

  const CrossPair in_plane = cross_pair(plane.normal);
  const double unit_mm = measure_cloud<3>(points_mm, 3).unit_mm;
  const auto at = [&](std::size_t i) {
    const Eigen::Vector3d arm = points_mm[i] - plane.centroid_mm;
    return Eigen::Vector2d(Eigen::Vector2d(in_plane.first.dot(arm), in_plane.second.dot(arm)) /
                           unit_mm);
  };
  const RoundFit<2> round = solve(points_mm.size(), at, algebraic);
  fit.status = round.status;
  if (round.status != FitStatus::done) return fit;
  fit.centre_mm = plane.centroid_mm + unit_mm * (in_plane.first * round.shape.centre.x() +
                                                 in_plane.second * round.shape.centre.y());
  fit.normal = plane.normal;
  fit.radius_mm = unit_mm * round.shape.radius;
  fit.rms_in_plane_mm =
      unit_mm * std::sqrt(round.rows.sum_of_squares() / static_cast<double>(points_mm.size()));
  fit.rms_out_of_plane_mm = plane.rms_mm;
  fit.condition = std::max(plane.condition, round.rows.condition());
  fit.iterations = round.iterations;
  return fit;
}

}  // namespace

CircleFit fit_circle_algebraic(std::span<const Eigen::Vector2d> points_mm) {
  return circle_fit(points_mm, true);
}

CircleFit fit_circle(std::span<const Eigen::Vector2d> points_mm) {
  return circle_fit(points_mm, false);
}

SpaceCircleFit fit_circle_in_space(std::span<const Eigen::Vector3d> points_mm) {
  return space_circle_fit(points_mm, false);
}

SpaceCircleFit fit_circle_in_space_algebraic(std::span<const Eigen::Vector3d> points_mm) {
  return space_circle_fit(points_mm, true);
}

}  // namespace pivotrace

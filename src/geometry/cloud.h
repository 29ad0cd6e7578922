// Centroid, size and moments of a set of points: what every fit starts from. No heap.
#pragma once

#include <Eigen/Core>
#include <span>

#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

/// A power of two near `size` (1 for 0): dividing by it costs no digit.
double power_of_two_near(double size);

/// Unit vector with its largest component made positive: one sign for one line or plane.
Eigen::Vector3d with_largest_positive(const Eigen::Vector3d& direction);

/// A set of points seen from its centroid, in units of its own size.
template <int D>
struct Cloud {
  using Point = Eigen::Matrix<double, D, 1>;

  FitStatus status = FitStatus::not_started;  ///< done, too_few_points, not_finite or degenerate
  Point centroid_mm = Point::Zero();
  double unit_mm = 1.0;  ///< power of two near the root mean square distance from the centroid

  Point shifted(const Point& p_mm) const { return (p_mm - centroid_mm) / unit_mm; }
};

/// Centroid in two passes (the second takes out the round-off of the first) and size.
/// Coincident points, to the round-off of their coordinates, are `degenerate`.
template <int D>
Cloud<D> measure_cloud(std::span<const Eigen::Matrix<double, D, 1>> points_mm,
                       std::size_t fewest_points) {
  Cloud<D> cloud;
  if (points_mm.size() < fewest_points || points_mm.empty()) {
    cloud.status = FitStatus::too_few_points;
    return cloud;
  }
  const double count = static_cast<double>(points_mm.size());
  double farthest_mm = 0.0;
  cloud.centroid_mm = points_mm.front();
  for (int pass = 0; pass < 2; ++pass) {
    Eigen::Matrix<double, D, 1> sum = Eigen::Matrix<double, D, 1>::Zero();
    for (const auto& p : points_mm) sum += p - cloud.centroid_mm;
    cloud.centroid_mm += sum / count;
  }
  double squares = 0.0;
  for (const auto& p : points_mm) {
    squares += (p - cloud.centroid_mm).squaredNorm();
    farthest_mm = std::max(farthest_mm, p.cwiseAbs().maxCoeff());
  }
  if (!std::isfinite(squares)) {
    cloud.status = FitStatus::not_finite;
    return cloud;
  }
  const double size_mm = std::sqrt(squares / count);
  constexpr double coordinate_round_off = 8.0 * std::numeric_limits<double>::epsilon();
  cloud.status =
      size_mm > coordinate_round_off * farthest_mm ? FitStatus::done : FitStatus::degenerate;
  cloud.unit_mm = power_of_two_near(size_mm);
  return cloud;
}

/// Half-axes of a cloud: eigenvalues of sum of s s' over the shifted points, ascending.
struct PrincipalAxes {
  Eigen::Vector3d eigenvalues = Eigen::Vector3d::Zero();
  Eigen::Matrix3d directions = Eigen::Matrix3d::Identity();  ///< columns, in the same order
};
PrincipalAxes principal_axes(const Cloud<3>& cloud, std::span<const Eigen::Vector3d> points_mm);

}  // namespace pivotrace

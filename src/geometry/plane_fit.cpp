#include "pivotrace/geometry/plane_fit.h"

#include <algorithm>
#include <cmath>

#include "geometry/cloud.h"

namespace pivotrace {

PlaneFit fit_plane(std::span<const Eigen::Vector3d> points_mm) {
  PlaneFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 3);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;

  const PrincipalAxes axes = principal_axes(cloud, points_mm);
  fit.condition = axes.eigenvalues[2] / (axes.eigenvalues[1] - axes.eigenvalues[0]);
  if (!(fit.condition < fit_condition_limit)) {
    fit.status = FitStatus::degenerate;
    return fit;
  }
  fit.centroid_mm = cloud.centroid_mm;
  fit.normal = with_largest_positive(axes.directions.col(0).normalized());
  double squares = 0.0;
  for (const Eigen::Vector3d& p : points_mm) {
    const double distance = fit.normal.dot(p - fit.centroid_mm);
    squares += distance * distance;
  }
  fit.rms_mm = std::sqrt(squares / static_cast<double>(points_mm.size()));
  return fit;
}

}  // namespace pivotrace

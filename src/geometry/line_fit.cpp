#include "pivotrace/geometry/line_fit.h"

#include <cmath>

#include "geometry/cloud.h"

namespace pivotrace {

LineFit fit_line(std::span<const Eigen::Vector3d> points_mm) {
  LineFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 2);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;

  const PrincipalAxes axes = principal_axes(cloud, points_mm);
  fit.condition = axes.eigenvalues[2] / (axes.eigenvalues[2] - axes.eigenvalues[1]);
  if (!(fit.condition < fit_condition_limit)) {
    fit.status = FitStatus::degenerate;
    return fit;
  }
  fit.line.point_mm = cloud.centroid_mm;
  fit.line.direction = with_largest_positive(axes.directions.col(2).normalized());
  double squares = 0.0;
  for (const Eigen::Vector3d& p : points_mm) {
    squares += perpendicular_from_line(fit.line, p).squaredNorm();
  }
  fit.rms_mm = std::sqrt(squares / static_cast<double>(points_mm.size()));
  return fit;
}

}  // namespace pivotrace

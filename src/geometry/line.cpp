#include "pivotrace/geometry/line.h"

#include <Eigen/Geometry>
#include <cmath>

namespace pivotrace {

Eigen::Vector3d perpendicular_from_line(const Line& line, const Eigen::Vector3d& p_mm) {
  const Eigen::Vector3d arm = p_mm - line.point_mm;
  return arm - line.direction * line.direction.dot(arm);
}

Eigen::Vector3d pierce_plane(const Line& line, const Eigen::Vector3d& normal, double offset_mm) {
  const double step = (offset_mm - normal.dot(line.point_mm)) / normal.dot(line.direction);
  return line.point_mm + step * line.direction;
}

CommonNormal common_normal(const Line& first, const Line& second) {
  CommonNormal result;
  const Eigen::Vector3d normal = first.direction.cross(second.direction);
  const double sine = normal.norm();
  const double cosine = first.direction.dot(second.direction);
  result.crossing_rad = std::atan2(sine, cosine);
  const Eigen::Vector3d between = second.point_mm - first.point_mm;
  if (sine < parallel_limit_rad) {
    result.parallel = true;
    result.signed_distance_mm = perpendicular_from_line(first, second.point_mm).norm();
    return result;
  }
  result.signed_distance_mm = between.dot(normal) / sine;
  // Feet: the steps along each line that make the joining vector perpendicular to both.
  const double along_first = between.dot(first.direction);
  const double along_second = between.dot(second.direction);
  const double denominator = sine * sine;
  const double step_first = (along_first - cosine * along_second) / denominator;
  const double step_second = (cosine * along_first - along_second) / denominator;
  result.foot_on_first_mm = first.point_mm + step_first * first.direction;
  result.foot_on_second_mm = second.point_mm + step_second * second.direction;
  return result;
}

}  // namespace pivotrace

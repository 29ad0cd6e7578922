#include "pivotrace/geometry/line_chart.h"

namespace pivotrace {

Eigen::Matrix<double, 3, 2> LineChart::direction_by_tilt(const LineParameters<double>& p) const {
  const Eigen::Vector3d leaning = nominal_.direction + cross_.first * p[2] + cross_.second * p[3];
  const double length = leaning.norm();
  const Eigen::Vector3d unit = leaning / length;
  Eigen::Matrix<double, 3, 2> by_tilt;
  by_tilt.col(0) = (cross_.first - unit * unit.dot(cross_.first)) / length;
  by_tilt.col(1) = (cross_.second - unit * unit.dot(cross_.second)) / length;
  return by_tilt;
}

LineParameters<double> LineChart::parameters(const Line& line) const {
  const Eigen::Vector3d pierced =
      pierce_plane(line, nominal_.direction, nominal_.direction.dot(nominal_.point_mm));
  const Eigen::Vector3d shift = pierced - nominal_.point_mm;
  const Eigen::Vector3d scaled = line.direction / line.direction.dot(nominal_.direction);
  LineParameters<double> p;
  p << cross_.first.dot(shift), cross_.second.dot(shift), cross_.first.dot(scaled),
      cross_.second.dot(scaled);
  return p;
}

}  // namespace pivotrace

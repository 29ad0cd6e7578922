#include "pivotrace/machine/line_chart.h"

#include "pivotrace/contact/eigen.h"

namespace pivotrace {

using contact::as_eigen;
using contact::from_eigen;

LineChart::LineChart(const Line& nominal)
    : nominal_(nominal),
      cross_(cross_pair(nominal.direction)),
      near_line_{from_eigen(nominal.point_mm), from_eigen(nominal.direction),
                 from_eigen(cross_.first), from_eigen(cross_.second)} {}

Line LineChart::line(const LineParameters& p) const {
  return {as_eigen(contact::shifted_point(near_line_, p[0], p[1])), as_eigen(lean(p).direction)};
}

contact::Lean<double> LineChart::lean(const LineParameters& p) const {
  return contact::tilted_direction(near_line_, p[2], p[3]);
}

LineParameters LineChart::parameters(const Line& line) const {
  const Eigen::Vector3d pierced =
      pierce_plane(line, nominal_.direction, nominal_.direction.dot(nominal_.point_mm));
  const Eigen::Vector3d shift = pierced - nominal_.point_mm;
  const Eigen::Vector3d scaled = line.direction / line.direction.dot(nominal_.direction);
  return {cross_.first.dot(shift), cross_.second.dot(shift), cross_.first.dot(scaled),
          cross_.second.dot(scaled)};
}

}  // namespace pivotrace

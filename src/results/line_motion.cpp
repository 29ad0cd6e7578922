#include "results/line_motion.h"

#include <Eigen/Geometry>
#include <algorithm>

namespace pivotrace {

namespace {

using Row6 = Eigen::Matrix<double, 1, 6>;

Eigen::Matrix3d cross_matrix(const Eigen::Vector3d& v) {
  Eigen::Matrix3d matrix;
  matrix << 0.0, -v.z(), v.y(), v.z(), 0.0, -v.x(), -v.y(), v.x(), 0.0;
  return matrix;
}

/// The normal of the plane a centre is quoted in.
Eigen::Vector3d plane_normal(const AxisResult& axis) {
  if (axis.along) return Eigen::Vector3d::Unit(static_cast<int>(*axis.along));
  return axis.nominal.direction;
}

Row6 centre_row(const AxisResult& axis, int k, const Eigen::Vector3d& about_mm) {
  Eigen::Matrix<double, 3, 6> point;
  point << Eigen::Matrix3d::Identity(), -cross_matrix(axis.line.point_mm - about_mm);
  const Eigen::Vector3d normal = plane_normal(axis);
  const Row6 through_plane = normal.transpose() * point;
  return point.row(k) - axis.line.direction[k] / normal.dot(axis.line.direction) * through_plane;
}

Row6 orientation_row(const AxisResult& axis, int k) {
  const Eigen::Matrix3d direction = -cross_matrix(axis.line.direction);  // du = w x u
  Row6 row = Row6::Zero();
  if (!axis.along) {
    row.tail<3>() = (cross_matrix(axis.nominal.direction) * direction).row(k);
    return row;
  }
  const int a = static_cast<int>(*axis.along);
  const Eigen::Vector3d sideways =
      Eigen::Vector3d::Unit(k).cross(Eigen::Vector3d(Eigen::Vector3d::Unit(a)));
  const double s = axis.line.direction.dot(sideways);
  const double c = axis.line.direction[a];
  row.tail<3>() = (c * sideways.transpose() * direction - s * direction.row(a)) / (s * s + c * c);
  return row;
}

/// What turns with the axis about its own line shows as its zero.
Row6 zero_row(const AxisResult& axis) {
  Row6 row = Row6::Zero();
  row.tail<3>() = turn_sign(axis.turn) * axis.line.direction.transpose();
  return row;
}

Row6 row_of(const AxisResult& axis, const ValueName& name, const Eigen::Vector3d& about_mm) {
  if (name.kind == ValueKind::zero) return zero_row(axis);
  if (name.kind == ValueKind::centre) return centre_row(axis, component(name), about_mm);
  return orientation_row(axis, component(name));
}

}  // namespace

Eigen::MatrixXd motion_gains(const FitResult& result, const std::vector<ValueName>& names,
                             const std::vector<char>& moved, const Eigen::Vector3d& about_mm) {
  Eigen::MatrixXd gains = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(names.size()), 6);
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (std::ranges::find(moved, names[i].axis) == moved.end()) continue;
    const auto axis = std::ranges::find(result.axes, names[i].axis, &AxisResult::letter);
    if (axis == result.axes.end()) continue;
    gains.row(static_cast<Eigen::Index>(i)) = row_of(*axis, names[i], about_mm);
  }
  return gains;
}

}  // namespace pivotrace

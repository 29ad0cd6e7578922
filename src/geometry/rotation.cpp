#include "pivotrace/geometry/rotation.h"

#include <Eigen/Geometry>

namespace pivotrace {

Eigen::Matrix3d rotation_matrix(const Eigen::Vector3d& direction, double angle_rad) {
  return Eigen::AngleAxisd(angle_rad, direction).toRotationMatrix();
}

CrossPair cross_pair(const Eigen::Vector3d& direction) {
  Eigen::Index nearest = 0;
  direction.cwiseAbs().maxCoeff(&nearest);
  const Eigen::Vector3d candidate = Eigen::Vector3d::Unit((nearest + 1) % 3);
  CrossPair pair;
  pair.first = (candidate - direction * direction.dot(candidate)).normalized();
  pair.second = direction.cross(pair.first);
  return pair;
}

}  // namespace pivotrace

// Turning points about lines. No heap, any scalar type: the same code serves values and derivatives.
#pragma once

#include <Eigen/Core>
#include <cmath>

namespace pivotrace {

/// v turned right-handed by `angle_rad` about the unit vector `direction` (Rodrigues):
/// R v = v cos t + (u x v) sin t + u (u . v)(1 - cos t).
template <class T>
Eigen::Matrix<T, 3, 1> turned(const Eigen::Matrix<T, 3, 1>& v,
                              const Eigen::Matrix<T, 3, 1>& direction, const T& angle_rad) {
  using std::cos;
  using std::sin;
  const T c = cos(angle_rad);
  const T s = sin(angle_rad);
  const T along = direction.dot(v) * (T(1) - c);
  return v * c + direction.cross(v) * s + direction * along;
}

/// Point p turned right-handed by `angle_rad` about the line through `point` along `direction`.
template <class T>
Eigen::Matrix<T, 3, 1> turned_about_line(const Eigen::Matrix<T, 3, 1>& p,
                                         const Eigen::Matrix<T, 3, 1>& point,
                                         const Eigen::Matrix<T, 3, 1>& direction,
                                         const T& angle_rad) {
  const Eigen::Matrix<T, 3, 1> arm = p - point;
  return point + turned<T>(arm, direction, angle_rad);
}

/// The rotation as a matrix, 3x3.
Eigen::Matrix3d rotation_matrix(const Eigen::Vector3d& direction, double angle_rad);

/// Two unit vectors that complete `direction` to a right-handed triad (first, second, direction),
/// taken from the machine axes in cyclic order: for Z: X, Y; for X: Y, Z; for Y: Z, X.
/// For a tilted direction the machine axis nearest to it decides, and the pair is made
/// perpendicular by Gram-Schmidt.
struct CrossPair {
  Eigen::Vector3d first;
  Eigen::Vector3d second;
};
CrossPair cross_pair(const Eigen::Vector3d& direction);

}  // namespace pivotrace

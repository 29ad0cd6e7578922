// To and from Eigen, for programs that have it: the vectors lie alike in memory.
#pragma once

#include <Eigen/Core>

#include "pivotrace/contact/vector.h"

namespace pivotrace::contact {

inline Vec3<double> from_eigen(const Eigen::Vector3d& v) { return {{v[0], v[1], v[2]}}; }

inline Eigen::Map<const Eigen::Vector3d> as_eigen(const Vec3<double>& v) {
  return Eigen::Map<const Eigen::Vector3d>(v.at);
}
// A temporary must not be looked at in place.
inline Eigen::Vector3d as_eigen(const Vec3<double>&& v) { return {v[0], v[1], v[2]}; }

inline Eigen::Matrix3d as_eigen(const Mat3<double>& m) {
  Eigen::Matrix3d result;
  for (int i = 0; i < 3; ++i) result.row(i) = as_eigen(m.row[i]).transpose();
  return result;
}

}  // namespace pivotrace::contact

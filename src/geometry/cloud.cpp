#include "geometry/cloud.h"

#include <Eigen/Eigenvalues>
#include <cmath>

namespace pivotrace {

double power_of_two_near(double size) {
  if (!(size > 0.0)) return 1.0;
  return std::exp2(std::floor(std::log2(size)));
}

Eigen::Vector3d with_largest_positive(const Eigen::Vector3d& direction) {
  Eigen::Index largest = 0;
  direction.cwiseAbs().maxCoeff(&largest);
  return direction[largest] < 0.0 ? Eigen::Vector3d(-direction) : direction;
}

PrincipalAxes principal_axes(const Cloud<3>& cloud, std::span<const Eigen::Vector3d> points_mm) {
  Eigen::Matrix3d moments = Eigen::Matrix3d::Zero();
  for (const Eigen::Vector3d& p : points_mm) {
    const Eigen::Vector3d s = cloud.shifted(p);
    moments += s.lazyProduct(s.transpose());
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(moments);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

}  // namespace pivotrace

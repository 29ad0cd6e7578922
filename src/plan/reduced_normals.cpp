#include "plan/reduced_normals.h"

namespace pivotrace {

ReducedNormals::ReducedNormals(const Eigen::MatrixXd& normals, Eigen::Index unknowns)
    : of_unknowns_(normals.topLeftCorner(unknowns, unknowns)), has_numbers_(true) {
  const Eigen::Index shared = normals.rows() - unknowns;
  followed_ = normals.bottomLeftCorner(shared, unknowns);
  if (shared == 0) return;
  of_shared_.compute(normals.bottomRightCorner(shared, shared));
  has_numbers_ = of_shared_.info() == Eigen::Success;
  if (!has_numbers_) return;
  of_shared_.solveInPlace(followed_);
  of_unknowns_.noalias() -= normals.topRightCorner(unknowns, shared) * followed_;
}

Eigen::MatrixXd ReducedNormals::shared_inverse() const {
  if (followed_.rows() == 0) return {};
  return of_shared_.solve(Eigen::MatrixXd::Identity(followed_.rows(), followed_.rows()));
}

Eigen::MatrixXd ReducedNormals::whole(const Eigen::MatrixXd& unknowns) const {
  Eigen::MatrixXd all(unknowns.rows() + followed_.rows(), unknowns.cols());
  all << unknowns, -followed_ * unknowns;
  return all;
}

}  // namespace pivotrace

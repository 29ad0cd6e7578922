#include "pivotrace/solver/triangularise.h"

#include <Eigen/Householder>

namespace pivotrace {

void triangularise(Eigen::MatrixXd& stack, Eigen::Index count, Eigen::VectorXd& workspace) {
  workspace.resize(stack.cols());
  for (Eigen::Index k = 0; k < count; ++k) {
    const Eigen::Index below = stack.rows() - k;
    auto column = stack.col(k).tail(below);
    double tau = 0.0;
    double diagonal = 0.0;
    column.makeHouseholderInPlace(tau, diagonal);
    stack.bottomRightCorner(below, stack.cols() - k - 1)
        .applyHouseholderOnTheLeft(column.tail(below - 1), tau, workspace.data());
    stack(k, k) = diagonal;
    column.tail(below - 1).setZero();
  }
}

}  // namespace pivotrace

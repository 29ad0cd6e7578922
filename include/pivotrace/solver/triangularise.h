// Householder reflections on a stack of rows, for whoever eliminates some of its columns first.
#pragma once

#include <Eigen/Core>

namespace pivotrace {

/// Reflects the first `count` columns of `stack` (m x n, count <= m) to upper-triangular form, zeros below,
/// all other columns along. `workspace` is resized.
void triangularise(Eigen::MatrixXd& stack, Eigen::Index count, Eigen::VectorXd& workspace);

}  // namespace pivotrace

// The model of the core solved a second time by another route: one dense covariance of all touches,
// derivatives by differences, generalised least squares. Double precision, no thought of speed.
#pragma once

#include <Eigen/Core>

#include "board.h"

namespace pivotrace::testing {

struct DenseFit {
  /// Per axis: location minus nominal centre (X Y Z) [mm], orientation (A B C) [rad].
  Eigen::VectorXd values;
  Eigen::MatrixXd repeatable;  ///< covariance of `values`
  Eigen::MatrixXd absolute;
  double chi2 = 0.0;
  int redundancy = 0;
};

/// Sigmas as stated. Every side must be stated in the job.
DenseFit dense_fit(const BoardJob& job);

}  // namespace pivotrace::testing

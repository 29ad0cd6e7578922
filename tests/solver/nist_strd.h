// The nonlinear regression sets of NIST, solved with the solvers the survey fit uses.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pivotrace/solver/minimise.h"

namespace pivotrace::testing {

/// One set: data, second starting point, certified answer.
struct StrdSet {
  std::string name;
  Eigen::VectorXd start;
  Eigen::VectorXd certified;
  Eigen::VectorXd certified_sigma;
  double certified_residual_sum_of_squares = 0.0;
  std::vector<double> x;
  std::vector<double> y;
};

/// Names of the sets there is a model for.
std::vector<std::string> strd_names();

/// Reads a set as NIST publishes it. Empty `x` when the file is not as expected.
StrdSet read_strd(const std::string& name, const std::string& path);

/// Least squares from the second starting point.
LeastSquaresMinimum solve_strd(const StrdSet& set, Solver solver);

struct StrdLinearisation {
  Eigen::VectorXd residuals;  ///< model - y
  Eigen::MatrixXd jacobian;   ///< rows of d(model)/d(parameters), by automatic differentiation
};
StrdLinearisation linearise_strd(const StrdSet& set, const Eigen::VectorXd& parameters);

}  // namespace pivotrace::testing

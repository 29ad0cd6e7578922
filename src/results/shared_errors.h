// Which errors of many results of one machine are the very same errors, and what each result has alone.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "pivotrace/results/history.h"

namespace pivotrace {

/// What one shared error does to the values of one result: shift per standard uncertainty.
struct SharedShift {
  std::size_t error = 0;
  Eigen::VectorXd shifts;  ///< in the order of Epoch::names
};

/// value = true value + own error + sum of shifts times errors of unit variance.
struct SharedErrors {
  std::size_t count = 0;
  std::vector<std::size_t> last_owner;  ///< per error: the last epoch that has it
  std::vector<std::vector<SharedShift>> of_epoch;
  std::vector<Eigen::MatrixXd> own;  ///< per epoch: covariance of its own error
};

/// Errors stay the same from result to result where both state the same conditions (the same probe, not
/// calibrated in between; the same artefact; slides about the same place; index positions of the same
/// angle, clamped or free alike): what nobody states counts as different. `between_surveys_mm`: of each
/// result for itself, any shift of all axes within it as likely as another, variance B^2 / 3.
SharedErrors shared_errors(const std::vector<Epoch>& epochs, double between_surveys_mm);

}  // namespace pivotrace

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
/// angle, clamped or free alike, reached by the same way): what nobody states of probe and artefacts counts as
/// different. So do bounded errors, any size within the bound as likely as another: they cancel where they are
/// the same and act alike; drift is every survey's own. `between_surveys_mm`: of each result for itself
/// likewise, twice as much where load or warmth differ from those of the newest.
SharedErrors shared_errors(const std::vector<Epoch>& epochs, double between_surveys_mm);

}  // namespace pivotrace

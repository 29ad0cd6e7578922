// The joint least-squares adjustment: minimiser, covariance and what is left over.
#pragma once

#include <Eigen/Core>

#include "estimate/model.h"
#include "estimate/station_weight.h"
#include "pivotrace/base/problem.h"
#include "pivotrace/solver/minimise.h"
#include "pivotrace/solver/square_root_information.h"

namespace pivotrace {

/// Minimises sum |gap / touch sigma|^2 + sum |station effects / their sigmas|^2 + radius priors over
/// the unknowns and the random effects of every station (carried as unknowns and eliminated station
/// by station: linear cost). Fails with P302 when the numbers run away.
Expected<LeastSquaresMinimum> minimise_gaps(const Model& model, const RandomModel& random,
                                            const Eigen::VectorXd& start,
                                            const MinimiserOptions& options);

/// Second-order statistics of the minimum, station effects marginalised.
struct Adjusted {
  Eigen::VectorXd unknowns;
  InformationSolution information;  ///< with radius priors
  double chi2 = 0.0;
  int redundancy = 0;  ///< readings + prior rows - unknowns
  /// d unknown / d common effect, (p x c): how far a common-mode error moves the answer.
  Eigen::MatrixXd by_common;

  const Eigen::MatrixXd& covariance() const { return information.covariance; }
};

/// The known diameters as whitened rows: root (rho - mean).
struct PriorRows {
  Eigen::MatrixXd jacobian;  ///< (rank x p)
  Eigen::VectorXd residual;  ///< (rank)
};
PriorRows prior_rows(const Model& model, const Eigen::VectorXd& unknowns);

Adjusted adjusted_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                     const std::vector<Effect>& common);

}  // namespace pivotrace

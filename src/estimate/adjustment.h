// The joint least-squares adjustment: minimiser, covariance and what is left over.
#pragma once

#include <Eigen/Core>

#include "estimate/linearisation.h"
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
  int redundancy = 0;      ///< readings + prior rows - unknowns
  Eigen::VectorXd shared;  ///< (q) shared effects as found, mm or rad
  Eigen::MatrixXd joint;   ///< ((q + p) x (q + p)) covariance of shared effects and unknowns
  /// Where the derivatives were taken (Linearisation::bend_by); empty where nothing is shared.
  std::vector<StationErrors> station_errors;
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

/// Sigma of every shared effect, mm or rad.
Eigen::VectorXd shared_sigmas(const Model& model, const RandomModel& random);

/// Columns of `Adjusted::joint` that the readings of a station depend on: its shared effects, then
/// the unknowns.
std::vector<int> joint_columns(const Model& model, int station);
/// The part of `joint` between two stations, ((a + p) x (b + p)).
Eigen::MatrixXd joint_part(const Adjusted& adjusted, const std::vector<int>& rows,
                           const std::vector<int>& columns);
/// [by_shared | by_unknown], (m x (a + p)).
Eigen::MatrixXd joint_derivatives(const StationBlock& block);

/// The minimum under the whole random model, from one found with every station for itself: linear
/// steps, each from the errors the last one found, until they vanish. Only the motions of axes enter
/// linearly, which leaves out their squares over twice a ball's radius, (1 um)^2 / 30 mm = 0.03 nm.
Adjusted settled_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                    const std::vector<Effect>& common);

Adjusted adjusted_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                     const std::vector<Effect>& common,
                     const std::vector<StationErrors>& station_errors = {});

}  // namespace pivotrace

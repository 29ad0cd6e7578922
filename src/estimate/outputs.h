// The named outputs of a fit, each with its uncertainty: axes, axis pairs, artefacts, deviations.
#pragma once

#include "estimate/uncertainty.h"

namespace pivotrace {

/// One scalar output as a function of the unknowns.
struct Output {
  ValueName name;
  double value = 0.0;
  Eigen::VectorXd by_unknown;  ///< (p)
  double further_u = 0.0;  ///< of what it rests on beside the touches; independent of everything
};

std::vector<AxisResult> axis_results(const Model& model, const Adjusted& adjusted,
                                     const Uncertainty& uncertainty);

std::vector<AxisPairResult> axis_pair_results(const Model& model, const Adjusted& adjusted,
                                              const Uncertainty& uncertainty);

std::vector<ArtefactResult> artefact_results(const Model& model, const Adjusted& adjusted,
                                             const Uncertainty& uncertainty);

/// Every centre and orientation output, in a fixed order: the joint covariance and the budget
/// refer to these.
std::vector<Output> axis_outputs(const Model& model, const Eigen::VectorXd& unknowns);

/// The same and the zeros of axes that an artefact of stated direction or place tells.
std::vector<Output> stated_outputs(const Model& model, const Eigen::VectorXd& unknowns);

/// Their values alone, in the same order: cheap enough for a hundred thousand trials.
Eigen::VectorXd axis_values(const Model& model, const Eigen::VectorXd& unknowns);

/// Deviations of the stations from the fitted axis line, and their ranges per axis.
std::vector<StationResult> station_results(const Model& model, const Adjusted& adjusted);
void fill_deviation_ranges(const std::vector<StationResult>& stations,
                           std::vector<AxisResult>& axes);

}  // namespace pivotrace

// The effects nobody can see in the scatter, as columns of the adjustment, and what a survey says of them.
#pragma once

#include <vector>

#include "estimate/adjustment.h"
#include "pivotrace/machine/bounds.h"

namespace pivotrace {

/// One bounded effect as the estimator sees it.
struct BoundTerm {
  Bound bound;
  std::vector<Effect> effects;  ///< its components; none for between_surveys
  /// Largest value of each component. Where the length is limited all are equal to that length.
  Eigen::VectorXd half_widths;

  /// The largest shift within the bound, `response` being what one unit of each component does:
  /// by length for lobing, drift and index wave (any phase, any direction), slide by slide for place,
  /// by the sum of magnitudes for squareness and scale.
  double largest_shift(const Eigen::VectorXd& response) const;
  /// The same with other half-widths.
  double largest_shift(const Eigen::Ref<const Eigen::VectorXd>& response,
                       const Eigen::Ref<const Eigen::VectorXd>& widths) const;
};

/// Of everything the machine file states or leaves to its class.
std::vector<BoundTerm> bound_terms(const Machine& machine);

/// All their effects in one row, as columns for `adjusted_at`.
std::vector<Effect> effects_of(const std::vector<BoundTerm>& terms);

/// Shrinks every bound the survey knows better: all effects are solved for together, each with its
/// bound as the standard uncertainty it has beforehand; what the survey found is |found| + 1.96 u.
/// Together, because the touches cannot tell a lobed probe from a squashed ball, and a bound may only
/// shrink by what nothing else within its own bound could have made.
void shrink_to_found(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                     std::vector<BoundTerm>& terms);

/// The same for one term: how large its components were found, with what covariance. What the model solves
/// for anyway is no longer bounded at all.
void shrink_term(BoundTerm& term, const Eigen::VectorXd& found_size,
                 const Eigen::MatrixXd& covariance, const Model* model = nullptr);

}  // namespace pivotrace

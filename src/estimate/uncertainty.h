// From the covariance of the unknowns to the uncertainty of every stated output.
#pragma once

#include <functional>
#include <vector>

#include "estimate/variance_components.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// One common-mode effect with its standard uncertainty in the effect's own unit.
struct CommonTerm {
  Effect effect;
  double u = 0.0;
};

/// The common-mode terms the machine file states: probe offset, scales, squareness.
std::vector<CommonTerm> common_terms(const Machine& machine);

/// The effects of the terms, in the same order.
std::vector<Effect> effects_of(const std::vector<CommonTerm>& terms);

/// Everything known about how uncertain the unknowns are.
class Uncertainty {
 public:
  Uncertainty(const Model& model, const Adjusted& adjusted, const ChosenVariances& variances,
              const std::vector<CommonTerm>& common);

  /// (p x p) Random errors of this survey only.
  const Eigen::MatrixXd& repeatable() const { return repeatable_; }
  /// (p x p) With known diameters and common-mode terms.
  const Eigen::MatrixXd& absolute() const { return absolute_; }

  /// An output with derivatives `by_unknown` (p). U95 = t_0.975(dof) u, the degrees of freedom by
  /// Satterthwaite: 2 V^2 / var(V), V = g' Cov g, from the covariance of the variance factors.
  Estimate estimate(double value, const Eigen::VectorXd& by_unknown) const;

  /// Degrees of freedom of the random part of this output; infinite with stated sigmas.
  double degrees_of_freedom(const Eigen::VectorXd& by_unknown) const;

  /// Shares of the absolute variance by source; sums to 1.
  std::vector<BudgetLine> budget(const ValueName& output, const Eigen::VectorXd& by_unknown) const;

  /// Random errors came out larger than stated and could not be estimated one by one: every random
  /// variance is multiplied by chi2 / dof and Student's t with dof is used (Birge ratio).
  void inflate(double chi2_per_dof, double dof);

 private:
  const Model& model_;
  ChosenVariances variances_;
  std::vector<CommonTerm> common_;
  Eigen::MatrixXd repeatable_;
  Eigen::MatrixXd absolute_;
  Eigen::MatrixXd by_prior_;                 ///< part of `absolute` from known diameters
  Eigen::MatrixXd by_common_;                ///< (p x c) scaled by u
  std::array<Eigen::MatrixXd, 2> by_group_;  ///< part of `repeatable` from each group
  Eigen::MatrixXd by_station_;
  std::array<Eigen::MatrixXd, max_rotary_axes> by_index_;
  double inflation_ = 1.0;
  double inflation_dof_ = 0.0;
};

/// Derivatives (p) of any scalar function of the unknowns by central differences; the function is
/// smooth, steps are 1e-5 mm or rad, so the truncation error stays below 1e-9 of the curvature.
Eigen::VectorXd differences(const Eigen::VectorXd& at,
                            const std::function<double(const Eigen::VectorXd&)>& function);

}  // namespace pivotrace

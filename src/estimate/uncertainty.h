// From the covariance of the unknowns to the uncertainty of every stated output.
#pragma once

#include <functional>
#include <vector>

#include "estimate/bound_terms.h"
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

/// Everything an Uncertainty wants to see in `Adjusted::by_common`: common terms, then bounds.
std::vector<Effect> asked_effects(const Machine& machine);

/// What an output depends on beside the unknowns.
struct Beside {
  double further_u = 0.0;  ///< independent of everything else
  /// Derivatives by the place of the stylus centre: the length of a pivot is counted to where the
  /// stylus really is, so an offset of the stylus moves both ends of it alike.
  Eigen::Vector3d by_stylus = Eigen::Vector3d::Zero();
};

/// Everything known about how uncertain the unknowns are.
class Uncertainty {
 public:
  /// `adjusted.by_common` must hold the columns of `common`, then those of `bounds`.
  Uncertainty(const Model& model, const Adjusted& adjusted, const ChosenVariances& variances,
              const std::vector<CommonTerm>& common, const std::vector<BoundTerm>& bounds);

  /// (p x p) Random errors of this survey only.
  const Eigen::MatrixXd& repeatable() const { return repeatable_; }
  /// (p x p) With known diameters and common-mode terms.
  const Eigen::MatrixXd& absolute() const { return absolute_; }

  /// Of outputs with derivatives `by_unknown` (n x p): the parts of their covariance by group, which sum up
  /// to its repeatable part.
  std::vector<VarianceGroup> groups(const Eigen::MatrixXd& by_unknown) const;
  /// (g x g) of the relative errors of the variances of the groups.
  const Eigen::MatrixXd& group_errors() const { return variances_.factor_covariance; }

  /// An output with derivatives `by_unknown` (p): standard uncertainties, the largest bias B within the
  /// bounds, and U95 from F((U - B) / u) - F((-U - B) / u) = 0.95.
  Estimate estimate(double value, const Eigen::VectorXd& by_unknown) const;
  /// The same for an output that also depends on what is no unknown.
  Estimate estimate(double value, const Eigen::VectorXd& by_unknown, const Beside& beside) const;

  /// Degrees of freedom of the random part of this output; infinite with exact sigmas. Each group's part
  /// follows Student's distribution with the dof of that group (stated and found pooled). Of a sum of
  /// such parts the squares of the 95 % half-widths add: exact for one part; of two they
  /// hold 94.9 to 96.2 % (tests/results/test_statistics.cpp). Satterthwaite's formula takes
  /// the parts for normal and the spread of their sigmas for averaged out: two parts of 8 dof would get
  /// 16, and hold 93 %.
  double degrees_of_freedom(const Eigen::VectorXd& by_unknown) const;

  /// How well the variance of this output itself is known, for tests of it: 2 V^2 / var(V), V = sum V_g
  /// (Satterthwaite); infinite with exact sigmas.
  double dof_of_variance(const Eigen::VectorXd& by_unknown) const;

  /// Shares of the absolute variance by source; sums to 1. `further_u`: of what the output rests on
  /// beside the touches.
  std::vector<BudgetLine> budget(const ValueName& output, const Eigen::VectorXd& by_unknown,
                                 double further_u = 0.0) const;

  /// Largest shift of this output by each of the bounds.
  std::vector<double> shifts(const Eigen::VectorXd& by_unknown) const;
  const std::vector<BoundTerm>& bounds() const { return bounds_; }

 private:
  double absolute_variance(const Eigen::VectorXd& by_unknown, const Beside& beside) const;
  double widening(const Eigen::VectorXd& by_unknown) const;
  BudgetSource source_of_group(int group) const;
  Eigen::VectorXd group_variances(const Eigen::VectorXd& by_unknown) const;

  const Model& model_;
  ChosenVariances variances_;
  Eigen::VectorXd widening_of_group_;
  std::vector<CommonTerm> common_;
  std::vector<BoundTerm> bounds_;
  Eigen::MatrixXd repeatable_;
  Eigen::MatrixXd absolute_;
  Eigen::MatrixXd by_prior_;               ///< part of `absolute` from known diameters
  Eigen::MatrixXd by_common_;              ///< (p x c) scaled by u
  Eigen::MatrixXd by_bound_;               ///< (p x b) per unit of each component
  Eigen::MatrixXd by_translation_;         ///< (p x 3) all axes shifted together
  std::vector<Eigen::MatrixXd> by_group_;  ///< parts of `repeatable`, as ChosenVariances::groups
};

/// Derivatives (p) of any scalar function of the unknowns by central differences; the function is
/// smooth, steps are 1e-5 mm or rad, so the truncation error stays below 1e-9 of the curvature.
Eigen::VectorXd differences(const Eigen::VectorXd& at,
                            const std::function<double(const Eigen::VectorXd&)>& function);

}  // namespace pivotrace

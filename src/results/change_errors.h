// How uncertain a change of values is, by what each survey drew for itself and what both share.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "results/in_common.h"

namespace pivotrace {

/// Bounded errors that enter a change, as columns: effect after effect.
struct BiasColumns {
  Eigen::MatrixXd gains;        ///< (n x b)
  Eigen::VectorXd half_widths;  ///< (b)
  /// Columns [first, first + count) are one effect; `by_length`: the length of its components is limited,
  /// not each component.
  struct Effect {
    Eigen::Index first = 0;
    Eigen::Index count = 0;
    bool by_length = false;
  };
  std::vector<Effect> effects;

  explicit BiasColumns(Eigen::Index values = 0) : gains(values, 0), half_widths(0) {}
  void add(const Eigen::MatrixXd& columns, const Eigen::VectorXd& widths, bool by_length);
  /// Every column an effect of its own.
  void add_each(const Eigen::MatrixXd& columns, const Eigen::VectorXd& widths);
  /// B of every value: the largest shift by each effect, added in squares: independent and bounded.
  Eigen::VectorXd largest_shifts() const;
};

/// Covariance of d = x_new - x_old as a sum of parts that are known differently well.
struct ChangeErrors {
  Eigen::MatrixXd old_part;  ///< what the old survey drew for itself
  Eigen::MatrixXd new_part;
  Eigen::MatrixXd shared_random;  ///< index errors and motions of positions both surveys used
  Eigen::MatrixXd stated;         ///< standard uncertainties that somebody stated
  BiasColumns bias;
  /// Of the sum, what is only as certain as the sizes of its groups, group after group of the old survey,
  /// then of the new one; empty where a result does not tell.
  std::vector<Eigen::MatrixXd> uncertain_parts;
  VarianceErrors part_errors;  ///< of their variances

  Eigen::MatrixXd covariance() const { return old_part + new_part + shared_random + stated; }
};

/// With A1, A2 the gains of a term both share and S its variance: (A2 - A1) S (A2 - A1)'; of a term each
/// has for itself: A1 S1 A1' + A2 S2 A2'. Sigmas are the machine's: both surveys pooled what they found with
/// the same stated ones, so their errors are correlated by V1 (n0 / 2) V2, V the errors of each. A result without gains counts with everything it may be off by.
ChangeErrors change_errors(const FitResult& old_result, const FitResult& new_result,
                           const std::vector<ValueName>& names);

}  // namespace pivotrace

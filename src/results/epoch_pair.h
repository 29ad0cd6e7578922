// Two results brought together: the values both have, their change, and how uncertain it is.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "pivotrace/results/compare.h"
#include "results/change_errors.h"

namespace pivotrace {

/// Of the uncertain parts of a survey that is still to be made, what it will find their variances to be.
struct ToBeFound {
  /// Per part of the new result: the part of the old result of the same source, -1 where there is none.
  std::vector<Eigen::Index> same_before;
  /// The old survey's variance of that source over what is stated; 1 where it is to be made too.
  Eigen::VectorXd known_ratio;
  Eigen::VectorXd stated_dof;  ///< per part of the new result
  bool old_too = false;        ///< the old result is no survey yet either
};

struct EpochPair {
  std::vector<ValueName> names;
  std::vector<char> axes;      ///< that both surveys turned
  Eigen::VectorXd old_values;  ///< mm, rad
  Eigen::VectorXd change;
  Eigen::MatrixXd covariance;  ///< of `change`
  BiasColumns bias;            ///< what no scatter shows, `between_surveys_mm` last
  std::vector<double> dofs;    ///< per value
  ScaledF reference;           ///< what T follows while nothing moved
  std::vector<Eigen::MatrixXd> uncertain_parts;  ///< see ChangeErrors
  VarianceErrors part_errors;
  std::optional<ToBeFound> to_be_found;
  double between_surveys_mm = 0.0;  ///< in force, per coordinate
  std::vector<CompareNote> notes;

  Eigen::Index size() const { return change.size(); }
};

/// Why nothing must be compared with an earlier result, not even a survey still to be made: it is not usable, of
/// another machine, or other conditions.
Problems not_comparable(const FitResult& old_result, const FitResult& planned,
                        const CompareOptions& options);

/// Refuses what must not be compared.
Expected<EpochPair> paired(const FitResult& old_result, const FitResult& new_result,
                           const CompareOptions& options);
/// Does not: `planned` is no survey yet, nor is `old_result` where `old_too`.
Expected<EpochPair> paired_with_plan(const FitResult& old_result, const FitResult& planned,
                                     const CompareOptions& options, bool old_too);

/// The estimate of a centre or an orientation; null when the result has none.
const Estimate* find_estimate(const FitResult& result, const ValueName& name);

}  // namespace pivotrace

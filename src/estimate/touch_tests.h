// How well each touch is checked by the others, and whether it fits them.
#pragma once

#include <vector>

#include "estimate/adjustment.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// A hypothesis of d extra shifts E (m x d) in the gaps of one station, tested in the full model:
/// T = g' G^-1 g ~ chi2(d), g = E'P v, G = E'P E, P = C^-1 - C^-1 J N^-1 J'C^-1
/// (Baarda 1968, generalised to correlated readings; from memory, derived again here). Directions of
/// the shift that the readings hardly see are left out of T, and of d.
struct ShiftTest {
  int dimensions = 0;           ///< directions that are seen; at most the columns of E
  double statistic = 0.0;       ///< T
  double equivalent_w = 0.0;    ///< deviate of the same tail area, with the sign of the first shift
  Eigen::VectorXd shift;        ///< estimated shift, mm; 0 along directions not seen
  Eigen::MatrixXd information;  ///< G, 1/mm^2
  bool testable = false;        ///< false: no other reading checks this one
};

/// Standard normal deviate with the same two-sided tail area as chi2(dimensions) = statistic, exact
/// however far out, so that hypotheses of different dimensions can be compared.
double equivalent_normal(double statistic, int dimensions);

/// Station-wise access to P without forming it.
class StationTester {
 public:
  StationTester(const Model& model, const Adjusted& adjusted, const RandomModel& random);

  /// Prepares station s; the calls below refer to it, their rows to the readings of the
  /// touches not `left_out` (by index in the survey; empty: none is).
  void select(int station, const std::vector<bool>& left_out = {});

  const StationBlock& block() const { return block_; }
  /// Columns of Adjusted::joint this station depends on, and the readings' derivatives by them.
  const std::vector<int>& columns() const { return columns_; }
  const Eigen::MatrixXd& derivatives() const { return derivatives_; }
  /// Gaps with the shared effects as found.
  const Eigen::VectorXd& residual() const { return residual_; }
  /// C^-1 x for the readings of this station.
  Eigen::MatrixXd weigh(const Eigen::Ref<const Eigen::MatrixXd>& x) const {
    return weight_.front().weigh(x);
  }
  /// 1 - (J N^-1 J'C^-1)_ii: share of an error in this reading that shows in its own residual.
  double redundancy(int row) const;
  /// Standard deviation of the residual of this reading [mm].
  double residual_sigma(int row) const;
  ShiftTest test(const Eigen::MatrixXd& shifts) const;
  /// test() of one reading alone, without forming E.
  ShiftTest test_reading(int row) const;
  /// e'C^-1 J N^-1 J'C^-1 e / e'P e for this reading e: how much of what it says went into
  /// the unknowns, against what is left to check it. Estimated shifts of readings i and k of
  /// two stations correlate by at most the root of the product (Cauchy and Schwarz in the
  /// metric of N^-1).
  double leverage(int row) const;

 private:
  void keep_only(int station, const std::vector<bool>& left_out);
  ShiftTest tested(Eigen::MatrixXd information, const Eigen::VectorXd& score) const;

  const Model& model_;
  const Adjusted& adjusted_;
  const RandomModel& random_;
  ActiveNuisances own_;
  Linearisation at_;
  StationBlock block_;
  std::vector<int> columns_;
  Eigen::MatrixXd derivatives_;  // [by_shared | by_unknown]
  Eigen::MatrixXd joint_;        // covariance of these columns
  Eigen::VectorXd residual_;
  std::vector<StationWeight> weight_;  // at most one: the selected station's
  Eigen::MatrixXd weighed_;            // C^-1 J
  Eigen::VectorXd left_;               // C^-1 v
};

/// Shifts of single readings, rows `first_row` and following: columns of unity.
Eigen::MatrixXd unit_shifts(const StationTester& tester, int first_row, int rows);

/// Below this redundancy nothing else checks a touch: its error would pass unseen.
inline constexpr double unchecked_redundancy = 1e-3;

std::vector<TouchResult> touch_results(const Model& model, const Adjusted& adjusted,
                                       const RandomModel& random);

}  // namespace pivotrace

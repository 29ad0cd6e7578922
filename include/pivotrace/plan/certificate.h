// What was wanted of a plan, and the proof of how close it comes to the best there can be.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "pivotrace/results/value_name.h"

namespace pivotrace {

/// One value with what is wanted of it and what no survey can take away. U95 to write the value [mm or rad].
struct WantedValue {
  ValueName name;
  double wanted = 0.0;
  double least = 0.0;  ///< left whatever is touched: probe offset and its like
  double reached = 0.0;
  /// What counts as 1: sqrt(wanted^2 + least^2).
  double scale() const;
};

/// Proof for all surveys of one kind: of every value B^2 / u^2 lies between `low` and `high`. Unknowns of the
/// vectors: those of the fit, then the effects nobody sees in the scatter, then errors of index positions.
struct ProofPart {
  Eigen::VectorXd low, high;  ///< (K) B^2 / u^2
  Eigen::VectorXd of_u,
      of_B;                 ///< (K) U_k^2 >= of_u u_k^2 + of_B B_k^2 there, with the normal factor
  double bound = 0.0;       ///< no survey of this kind has its worst U95 / scale below
  Eigen::MatrixXd vectors;  ///< (n x K)
  Eigen::VectorXd weights;  ///< (K)
  /// Per error of an index position: the part of its prior that counts with every visit, 0 to 1.
  Eigen::VectorXd prior_with_visits;
};

/// Proof that no survey of these minutes does much better. With the information M_v of every candidate
/// visit v, tau_v its least minutes and M_0k what is known before, vectors a_k and weights l_k give
///   sum_k l_k X_k >= (sum_k l_k c_k'a_k)^2 / (sum_k l_k a_k'M_0k a_k + T max_v sum_k l_k a_k'M_v a_k / tau_v)
/// for every survey of T minutes made of candidates, every station reached by a turn; T is less what finding the
/// first artefact takes at the least, and what is found after the first turn where rough places never spare that, and
/// one turn more. X_k = u_k^2 + of_B / of_u B_k^2 of a value: so no survey's
/// largest U_k / scale_k is below sqrt(sum_k l_k X_k / sum_k l_k scale_k^2 / of_u). U_k^2 falls below every chord
/// of of_u u^2 + of_B B^2 away from where the chord meets it, so surveys are told apart by B^2 / u^2: every survey
/// no worse than the plan belongs to one of the parts.
struct Certificate {
  double minutes = 0.0;
  double step_deg = 0.0;  ///< of the grid, the widest of the axes
  int least_touches = 3;
  int most_touches = 6;
  int candidates = 0;
  double bound = 0.0;    ///< no survey's worst U95 / scale is below: the least of all parts
  double reached = 0.0;  ///< of the plan, with the normal factor
  std::vector<ProofPart> parts;
  std::vector<int> effects;      ///< which of the effects of the estimator
  Eigen::VectorXd effect_sizes;  ///< of each: standard uncertainty, then half-widths
  int bounded_from = 0;          ///< the first of them that has a half-width
  double counted_minutes = 0.0;  ///< T

  double efficiency() const { return reached > 0.0 ? bound / reached : 0.0; }
};

}  // namespace pivotrace

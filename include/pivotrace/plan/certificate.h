// What was wanted of a plan, and the proof of how close it comes to the best there can be.
#pragma once

#include <Eigen/Core>

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

/// Proof that no survey of these minutes does much better. With the information M_v of every candidate
/// visit v, tau_v its least minutes and M_0 what is known before, vectors a_k and weights l_k give
///   sum_k l_k Var_k >= (sum_k l_k c_k'a_k)^2 / (sum_k l_k a_k'M_0 a_k + T max_v sum_k l_k a_k'M_v a_k / tau_v)
/// for every survey of T minutes made of candidates, every station reached by a turn; T is less what finding the
/// first artefact takes at the least, and one turn more. U95 with the normal factor on both sides, no bias.
struct Certificate {
  double minutes = 0.0;
  double step_deg = 0.0;  ///< of the grid, the widest of the axes
  int least_touches = 3;
  int most_touches = 6;
  int candidates = 0;
  double bound = 0.0;       ///< no survey's worst U95 / scale is below
  double reached = 0.0;     ///< of the plan, with the normal factor
  Eigen::MatrixXd vectors;  ///< (n x K) over unknowns, then errors of index positions
  Eigen::VectorXd weights;  ///< (K)

  double efficiency() const { return reached > 0.0 ? bound / reached : 0.0; }
};

}  // namespace pivotrace

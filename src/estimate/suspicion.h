// How improbable a touch or a whole station is: verdicts on a shift, from what leaving it out would save
// and the scatter it is held against. Pure functions.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace pivotrace {

/// One thing left out, or suspected.
struct Suspect {
  bool whole_station = false;
  int station = -1;          ///< index into Survey::stations
  std::vector<int> touches;  ///< indices into Survey::touches
  double size_mm = 0.0;      ///< length of the estimated shift
  double limit_mm = 0.0;     ///< shift that would just have been suspected
  double saved_chi2 = 0.0;   ///< by leaving it out
  double w = 0.0;            ///< equivalent standard normal deviate, scatter already allowed for
  /// A single touch whose error looks like a slip of the whole station in a direction that no other
  /// touch there sees. Leaving it out answers both; which it was, nobody can say.
  bool station_possible = false;
};

/// A suspect with the direction of its shift in the readings of its station.
struct Hypothesis {
  Suspect suspect;
  int dimensions = 0;      ///< 0: it cannot be tested
  double statistic = 0.0;  ///< chi2 that leaving it out would save
  int first_row = 0;       ///< of a single touch, in the readings of its station
  int rows = 0;            ///< of a single touch; 0: the shifts are below
  Eigen::MatrixXd shifts;  ///< (m x d), of a whole station
  bool beyond = false;     ///< of the limit
};

/// What is left over in one adjustment.
struct LeftOver {
  double chi2 = 0.0;
  int redundancy = 0;
  double stated_dof = 0.0;       ///< of the stated sigmas
  double robust_variance = 1.0;  ///< (median |w| / 0.6745)^2, at least 1
};

/// What a suspect is judged by: the variance found in units of the stated one, and how many degrees
/// of freedom stand behind it.
struct Scatter {
  double variance = 1.0;
  double dof = 0.0;
};

/// The scatter without a suspect. With few stations a single blunder spreads into every residual and
/// lifts the robust variance over itself; with several blunders the variance left without one of them is
/// still theirs. The smaller of the two, and never less than what is stated. What is stated counts with
/// its own degrees of freedom: five stations alone would let an error of ten sigmas pass.
Scatter scatter_without(const Hypothesis& hypothesis, const LeftOver& left_over);

/// chi2 a shift of so many dimensions must save to be suspected at `probability`.
double critical_chi2(int dimensions, const Scatter& scatter, double probability);

/// Deviate as improbable as the shift, by what critical_chi2() goes by.
double deviate(const Hypothesis& hypothesis, const Scatter& scatter);

/// The hypothesis with limit, deviate and whether it is beyond `limit`, the deviate from which on a
/// touch or a station is suspected.
Hypothesis judged(Hypothesis hypothesis, const Scatter& scatter, double limit);

/// The two stories about one station: its worst touch, and all of it.
struct StationStories {
  Hypothesis touch;
  Hypothesis whole;
  double rank = 0.0;  ///< deviate of the less probable of those beyond the limit; 0 when none is
  bool whole_ranks_first = false;

  const Hypothesis& likelier() const { return whole_ranks_first ? whole : touch; }
};

/// Stories are compared by their tail areas under one and the same scatter: that which the best of them
/// all would leave. The tail weighs the two more directions of a slip against a touch.
StationStories ranked(StationStories stories, double variance);

}  // namespace pivotrace

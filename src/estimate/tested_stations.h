// Every touch and every station of one adjustment, tested: which of them would save most by being left
// out, and what else would explain the same.
#pragma once

#include <memory>
#include <vector>

#include "estimate/part_adjustment.h"
#include "estimate/suspicion.h"

namespace pivotrace {

/// From where on a deviation counts.
struct SuspicionLimits {
  double deviate = 0.0;                  ///< beyond which a touch or a station is suspected
  double inseparable_correlation = 0.9;  ///< of two estimated shifts
};

/// What all hypotheses under one adjustment are held against.
struct Background {
  double robust_variance = 1.0;
  double best_left = 1.0;             ///< variance that the best of all stories would leave
  std::vector<double> most_leverage;  ///< per station: of its single touches
};

/// Refers to the adjustment, which must outlive it.
class TestedStations {
 public:
  TestedStations(const PartAdjustment& adjustment, const SuspicionLimits& limits);
  /// Of the same survey with one station changed: everything else is held against the background found
  /// before, which one station in hundreds does not change.
  TestedStations(const PartAdjustment& adjustment, const SuspicionLimits& limits,
                 std::shared_ptr<const Background> background);

  const std::shared_ptr<const Background>& background() const { return background_; }

  /// Stations with a suspect beyond the limit, most improbable first.
  std::vector<StationStories> suspects() const;
  /// Both stories about one station, within the limit or not.
  StationStories stories_of(int whole_station) const;
  /// Whether the common shift of a station is no larger than chance makes it at `level`.
  bool agrees(const Hypothesis& whole, double level) const;
  /// Whether the touch has nothing of its own once its station may have slipped.
  bool station_explains(const Hypothesis& touch, double level) const;
  /// Every other single touch that explains the same pattern: correlation of the two estimated shifts
  /// above the limit and nearly the same significance.
  std::vector<Suspect> rivals_of(const Hypothesis& top) const;

 private:
  /// Of single touches, in units of their sigmas.
  struct TouchSizes {
    std::vector<double> deviates;
    double most_leverage = 0.0;
  };

  LeftOver left_over() const;
  Scatter scatter_of(const Hypothesis& hypothesis) const;
  bool may_correlate(double leverage, int station) const;
  std::vector<Hypothesis> single_touches(int station) const;
  Hypothesis whole_station(const StationTester& tester, int station) const;
  StationStories tested_stories(const StationTester& tester, int station, TouchSizes& sizes) const;
  std::vector<StationStories> every_station();
  double judge_both(StationStories& stories) const;

  const PartAdjustment& adjustment_;
  SuspicionLimits limits_;
  std::shared_ptr<const Background> background_;
  std::vector<StationStories> stations_;  ///< of every station; empty where only one changed
};

}  // namespace pivotrace

// The adjustment of a part of a survey, as screening looks at it: with a way to change one station
// without adjusting everything anew.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "estimate/adjustment.h"
#include "estimate/model.h"
#include "estimate/survey_part.h"
#include "estimate/touch_tests.h"

namespace pivotrace {

/// What is adjusted, and how. Everything must outlive the adjustments made of it.
struct AdjustmentTask {
  const Machine& machine;
  const Survey& survey;
  const std::vector<TurnSense>& turns;
  const RandomModel& random;
  const std::vector<Effect>& effects;
  const MinimiserOptions& minimiser;
};

/// Stations are counted in the whole survey where a name says `whole_station`, else in the part.
class PartAdjustment {
 public:
  /// The survey without what is `excluded`, solved from `near` where that has as many unknowns. Absent
  /// when this part cannot be solved.
  static std::optional<PartAdjustment> without(const AdjustmentTask& task,
                                               const std::vector<bool>& excluded,
                                               const Eigen::VectorXd* near = nullptr);

  /// This adjustment, with what it left out standing beside it in the whole survey: `left_out` is what
  /// was excluded. Absent when the whole survey does not have the same unknowns.
  std::optional<PartAdjustment> beside_left_out(const AdjustmentTask& task,
                                                const std::vector<bool>& left_out) const;

  /// The same with one station changed: of its touches those in `left_out` are. Its rows are taken out
  /// of the adjustment and put in again as wanted, by one linear step; absent when nothing checks what
  /// is left. For an adjustment made by beside_left_out().
  std::optional<PartAdjustment> with_station(int whole_station,
                                             const std::vector<bool>& left_out) const;

  const Survey& survey() const { return part_->survey; }
  const Model& model() const { return *model_; }
  const Adjusted& adjusted() const { return adjusted_; }
  StationTester tester() const { return {*model_, adjusted_, *random_}; }
  void select(StationTester& tester, int station) const { tester.select(station, left_out_); }

  int station_count() const { return static_cast<int>(part_->station_of.size()); }
  int part_station(int whole_station) const;
  int whole_station(int station) const { return part_->station_of[station]; }
  int whole_touch(int touch) const { return part_->touch_of[touch]; }
  const Touch& touch(int touch) const { return part_->survey.touches[touch]; }
  /// Touches of a station that are in.
  std::vector<int> touches_in(int station) const;
  /// Whether the station has any touches in this part.
  bool holds(int whole_station) const;

 private:
  PartAdjustment(const AdjustmentTask& task, SurveyPart part);
  std::vector<int> touches_of(int station) const;
  /// Takes the rows of a selected station out (sign -1) or puts them in (+1), the slope of chi2 with
  /// them; false when nothing checks what is left.
  static bool exchange_rows(const StationTester& tester, double sign, Adjusted& adjusted,
                            Eigen::VectorXd& slope);

  const RandomModel* random_;
  std::shared_ptr<const SurveyPart> part_;
  std::shared_ptr<const Model> model_;
  std::vector<bool> left_out_;  ///< of this part; empty: nothing is
  Adjusted adjusted_;
};

}  // namespace pivotrace

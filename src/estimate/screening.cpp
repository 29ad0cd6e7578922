#include "estimate/screening.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <utility>

#include "estimate/part_adjustment.h"
#include "estimate/tested_stations.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

/// Several clear suspects in different stations are left out together when each is at least this
/// share of the largest: otherwise a long survey would need one adjustment per bad touch.
constexpr double together_share = 0.7;

/// Deviate that good surveys exceed anywhere with a chance of `level`.
double shared_limit(const Survey& survey, double level) {
  const auto tests = static_cast<double>(survey.touches.size() + survey.stations.size());
  return -normal_quantile(level / (2.0 * tests));
}

/// The search: what is left out so far, and what was found to be inseparable.
class Search {
 public:
  Search(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
         const RandomModel& random, const std::vector<Effect>& effects,
         const ScreeningOptions& options)
      : survey_(survey), options_(options), task_{machine, survey,  turns,
                                                  random,  effects, options.minimiser} {
    result_.excluded.assign(survey.touches.size(), false);
    settled_.assign(survey.touches.size(), false);
  }

  Screening run() {
    for (int iteration = 0; iteration < options_.max_rounds; ++iteration) {
      if (!leave_out_worst()) break;
    }
    if (!result_.given_up) ask_again();
    if (!result_.exclusions.empty() || !result_.inseparable.empty()) note_what_is_left();
    return std::move(result_);
  }

 private:
  SuspicionLimits limits_for(const PartAdjustment& adjustment) const {
    return {shared_limit(adjustment.survey(), options_.survey_level),
            options_.inseparable_correlation};
  }
  /// Held against the background of the survey without anything bad, where that was found.
  TestedStations tested(const PartAdjustment& adjustment) const {
    if (background_) return {adjustment, limits_for(adjustment), background_};
    return {adjustment, limits_for(adjustment)};
  }

  /// The survey without what is `excluded`. A long survey is solved again from where it was: one
  /// station in hundreds does not move it far.
  std::optional<PartAdjustment> adjustment_without(const std::vector<bool>& excluded) {
    const bool again = many_touches() && near_.size() > 0;
    auto adjustment = PartAdjustment::without(task_, excluded, again ? &near_ : nullptr);
    if (adjustment) near_ = adjustment->adjusted().unknowns;
    return adjustment;
  }

  /// False when nothing is left to do.
  bool leave_out_worst() {
    const auto adjustment = adjustment_without(result_.excluded);
    if (!adjustment) return take_back_last();
    const TestedStations stations = tested(*adjustment);
    std::vector<StationStories> suspects = stations.suspects();
    std::erase_if(suspects, [&](const StationStories& station) {
      return settled_[station.likelier().suspect.touches.front()];
    });
    if (suspects.empty()) return false;
    int left_out = 0;
    for (const StationStories& station : suspects) {
      const bool with_top = station.rank >= together_share * suspects.front().rank;
      if (left_out > 0 && (!with_top || !many_touches())) break;
      if (!stations.rivals_of(station.likelier()).empty()) continue;
      leave_out(station.likelier().suspect);
      if (result_.given_up) return false;
      ++left_out;
    }
    if (left_out == 0) {
      const Hypothesis& top = suspects.front().likelier();
      name_inseparable(top, stations.rivals_of(top));
    }
    return true;
  }

  /// Only when every suspect has a rival: with another bad touch still in, the scale hides the
  /// difference between a suspect and its rivals.
  void name_inseparable(const Hypothesis& top, std::vector<Suspect> rivals) {
    rivals.insert(rivals.begin(), top.suspect);
    for (const Suspect& rival : rivals) settled_[rival.touches.front()] = true;
    result_.inseparable.push_back({std::move(rivals), std::abs(top.suspect.w) > survey_limit()});
  }

  double survey_limit() const { return shared_limit(survey_, options_.beyond_chance_level); }

  /// Short surveys go one by one: there a bad touch bends its neighbours' residuals.
  bool many_touches() const { return survey_.touches.size() > 200; }

  void leave_out(const Suspect& suspect) {
    const auto already = std::count(result_.excluded.begin(), result_.excluded.end(), true);
    const double allowed = options_.largest_share * static_cast<double>(survey_.touches.size());
    if (static_cast<double>(already + static_cast<long>(suspect.touches.size())) > allowed) {
      result_.given_up = true;
      return;
    }
    for (const int touch : suspect.touches) result_.excluded[touch] = true;
    result_.exclusions.push_back(suspect);
  }

  /// Without the last exclusion the survey could be solved, with it no longer: put it back and stop.
  bool take_back_last() {
    result_.given_up = true;
    if (result_.exclusions.empty()) return false;
    for (const int touch : result_.exclusions.back().touches) result_.excluded[touch] = false;
    result_.exclusions.pop_back();
    return false;
  }

  /// Every station that lost something is put back whole and asked again with all other bad touches
  /// gone: while they were in, they bent its residuals.
  void ask_again() {
    if (many_touches()) prepare_changes();
    std::vector<int> stations;
    for (const Suspect& suspect : result_.exclusions) {
      if (std::find(stations.begin(), stations.end(), suspect.station) == stations.end()) {
        stations.push_back(suspect.station);
      }
    }
    for (const int station : stations) {
      std::vector<bool> others = result_.excluded;
      const Station& stay = survey_.stations[station];
      for (int t = 0; t < stay.touch_count; ++t) others[stay.first_touch + t] = false;
      const std::optional<std::vector<Suspect>> verdict = verdict_on(station, others);
      if (!verdict) continue;
      std::erase_if(result_.exclusions,
                    [station](const Suspect& suspect) { return suspect.station == station; });
      result_.excluded = std::move(others);
      for (const Suspect& suspect : *verdict) {
        for (const int touch : suspect.touches) result_.excluded[touch] = true;
        result_.exclusions.push_back(suspect);
      }
    }
  }

  /// In a long survey one adjustment serves for all stations asked again. Adjusting anew for
  /// each would cost their number times the length of the survey.
  void prepare_changes() {
    const auto without_bad = adjustment_without(result_.excluded);
    if (!without_bad) return;
    all_good_ = without_bad->beside_left_out(task_, result_.excluded);
    if (all_good_) background_ = tested(*all_good_).background();
  }

  /// The survey without what is `excluded`, which differs from what was left out when
  /// prepare_changes() was called in one station alone. Absent when it cannot be solved that
  /// way.
  std::optional<PartAdjustment> changed(int station, const std::vector<bool>& excluded) {
    if (all_good_) return all_good_->with_station(station, excluded);
    return adjustment_without(excluded);
  }

  /// What is wrong at a station when everything in `excluded` is known to be bad: nothing, a minority
  /// of its touches, or all of it. Absent when the survey cannot be solved that way.
  std::optional<std::vector<Suspect>> verdict_on(int station, std::vector<bool> excluded) {
    const std::optional<PartAdjustment> whole = changed(station, excluded);
    if (!whole) return std::nullopt;
    const TestedStations stations = tested(*whole);
    const StationStories first = stations.stories_of(station);
    const std::vector<Suspect> slipped = {first.whole.suspect};
    if (!first.touch.beyond) return first.whole.beyond ? slipped : std::vector<Suspect>{};
    std::vector<Suspect> touches;
    Hypothesis worst = first.touch;
    const int minority = std::max(1, (survey_.stations[station].touch_count - 1) / 2);
    while (static_cast<int>(touches.size()) < minority) {
      touches.push_back(worst.suspect);
      for (const int touch : touches.back().touches) excluded[touch] = true;
      const std::optional<PartAdjustment> rest = changed(station, excluded);
      if (!rest) return std::nullopt;
      if (!rest->holds(station)) return touches;
      const TestedStations others = tested(*rest);
      const StationStories stories = others.stories_of(station);
      worst = stories.touch;
      if (worst.beyond) continue;
      if (first.whole.beyond && !others.agrees(stories.whole, options_.rest_level)) return slipped;
      if (touches.size() > 1) return touches;
      return one_touch(stations, first);
    }
    return slipped;
  }

  /// A station's worst touch, where leaving it out leaves nothing to explain there.
  std::vector<Suspect> one_touch(const TestedStations& stations, const StationStories& stories) {
    std::vector<Suspect> rivals = stations.rivals_of(stories.touch);
    if (!rivals.empty()) {
      name_inseparable(stories.touch, std::move(rivals));
      return {};
    }
    Suspect touch = stories.touch.suspect;
    touch.station_possible =
        stories.whole.beyond && stations.station_explains(stories.touch, options_.rest_level);
    return {touch};
  }

  void note_what_is_left() {
    const auto adjustment = adjustment_without(result_.excluded);
    if (!adjustment) return;
    result_.chi2 = adjustment->adjusted().chi2;
    result_.redundancy = adjustment->adjusted().redundancy;
    for (const Inseparable& group : result_.inseparable) {
      result_.chi2 -= group.suspects.front().saved_chi2;
      --result_.redundancy;
    }
  }

  const Survey& survey_;
  const ScreeningOptions& options_;
  AdjustmentTask task_;
  Screening result_;
  Eigen::VectorXd near_;  ///< where the last adjustment ended
  std::optional<PartAdjustment> all_good_;
  std::shared_ptr<const Background> background_;  ///< of all_good_
  std::vector<bool> settled_;  ///< touches named as inseparable: not looked at again
};

}  // namespace

Screening screen(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
                 const RandomModel& random, const std::vector<Effect>& effects,
                 const ScreeningOptions& options) {
  return Search(machine, survey, turns, random, effects, options).run();
}

}  // namespace pivotrace

#include "estimate/screening.h"

#include <algorithm>
#include <cmath>

#include "estimate/adjustment.h"
#include "estimate/start.h"
#include "estimate/touch_tests.h"

namespace pivotrace {

SurveyPart without(const Survey& survey, const std::vector<bool>& excluded) {
  SurveyPart part;
  part.survey.machine_name = survey.machine_name;
  part.survey.started = survey.started;
  part.survey.file = survey.file;
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    Station stay = survey.stations[s];
    const int first = stay.first_touch;
    const int count = stay.touch_count;
    stay.first_touch = static_cast<int>(part.survey.touches.size());
    for (int t = first; t < first + count; ++t) {
      if (excluded[t]) continue;
      Touch touch = survey.touches[t];
      touch.station = static_cast<int>(part.survey.stations.size());
      part.survey.touches.push_back(touch);
      part.touch_of.push_back(t);
    }
    stay.touch_count = static_cast<int>(part.survey.touches.size()) - stay.first_touch;
    if (stay.touch_count == 0) continue;
    part.survey.stations.push_back(stay);
    part.station_of.push_back(static_cast<int>(s));
  }
  return part;
}

namespace {

/// Median of |standard normal|.
constexpr double median_of_normal = 0.6745;

/// Several clear suspects in different stations are left out together when each is at least this
/// share of the largest: otherwise a long survey would need one adjustment per bad touch.
constexpr double together_share = 0.7;

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<long>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// A suspect with the direction of its shift in the readings of its station.
struct Hypothesis {
  Suspect suspect;
  double statistic = 0.0;  ///< chi2 that leaving it out would save
  Eigen::MatrixXd shifts;  ///< (m x d)
};

/// One adjustment of a part of the survey with every hypothesis tested.
class Round {
 public:
  Round(const Machine& machine, const SurveyPart& part, const std::vector<TurnSense>& turns,
        const RandomModel& random, const std::vector<Effect>& effects,
        const ScreeningOptions& options)
      : part_(part), random_(random), options_(options), model_(machine, part.survey, effects) {
    model_.set_turns(turns);
  }

  /// False when this part can no longer be solved.
  bool solve(int max_iterations) {
    const auto minimum = minimise(model_, random_, starting_unknowns(model_), max_iterations);
    if (!minimum) return false;
    adjusted_ = adjusted_at(model_, random_, minimum->unknowns, {});
    return adjusted_.information.full_rank();
  }

  const Model& model() const { return model_; }
  const Adjusted& adjusted() const { return adjusted_; }
  double scale() const { return scale_; }

  /// The most significant hypothesis of every station, those beyond the limit only, largest first.
  std::vector<Hypothesis> suspects() {
    StationTester tester(model_, adjusted_, random_);
    std::vector<Hypothesis> best_per_station;
    std::vector<double> sizes;
    for (std::size_t s = 0; s < part_.survey.stations.size(); ++s) {
      tester.select(static_cast<int>(s));
      best_per_station.push_back(best_of(tester, static_cast<int>(s), sizes));
    }
    scale_ = sizes.empty() ? 1.0 : std::max(1.0, median(sizes) / median_of_normal);
    std::vector<Hypothesis> beyond;
    for (Hypothesis& hypothesis : best_per_station) {
      const double scale = scale_of(hypothesis);
      hypothesis.suspect.w /= scale;
      hypothesis.suspect.limit_mm *= scale;
      if (hypothesis.suspect.w > options_.limit) beyond.push_back(std::move(hypothesis));
    }
    std::sort(beyond.begin(), beyond.end(),
              [](const Hypothesis& a, const Hypothesis& b) { return a.suspect.w > b.suspect.w; });
    return beyond;
  }

  /// Every other single touch or station that explains the same pattern: correlation of the two
  /// estimated shifts above the limit and nearly the same significance.
  std::vector<Suspect> rivals_of(const Hypothesis& top) {
    if (top.shifts.cols() != 1) return {};
    StationTester tester(model_, adjusted_, random_);
    const int home = part_station(top.suspect.station);
    tester.select(home);
    const Eigen::VectorXd top_weighed = tester.weigh(top.shifts.col(0));
    const Eigen::VectorXd top_seen = seen(tester, top.shifts.col(0));
    const double top_information = tester.test(top.shifts).information(0, 0);
    std::vector<Suspect> rivals;
    for (std::size_t s = 0; s < part_.survey.stations.size(); ++s) {
      tester.select(static_cast<int>(s));
      for (Hypothesis& other : single_touches(tester, static_cast<int>(s))) {
        if (other.suspect.touches == top.suspect.touches || other.shifts.cols() != 1) continue;
        const ShiftTest test = tester.test(other.shifts);
        if (!test.testable) continue;
        double cross = -top_seen.dot(adjusted_.covariance() * seen(tester, other.shifts.col(0)));
        if (static_cast<int>(s) == home) cross += top_weighed.dot(other.shifts.col(0));
        const double correlation = cross / std::sqrt(top_information * test.information(0, 0));
        if (std::abs(correlation) < options_.inseparable_correlation) continue;
        fill(other.suspect, test);
        other.suspect.w /= scale_of(top);
        // Leaving out the one instead of the other costs this much more chi2. Perfectly correlated
        // suspects cost the same; a good touch beside a bad one gives itself away once the error
        // outgrows what the station effects can hide.
        const double cost = top.suspect.w * top.suspect.w - other.suspect.w * other.suspect.w;
        if (cost < options_.limit * options_.limit) rivals.push_back(other.suspect);
      }
    }
    return rivals;
  }

  /// Whether a suspect that was put back now agrees with the rest.
  bool still_fits(const Suspect& suspect) {
    suspects();  // sets the robust scale
    StationTester tester(model_, adjusted_, random_);
    const int station = part_station(suspect.station);
    tester.select(station);
    std::vector<Hypothesis> hypotheses = single_touches(tester, station);
    if (suspect.whole_station) hypotheses = {whole_station(tester, station)};
    for (const Hypothesis& hypothesis : hypotheses) {
      if (hypothesis.suspect.touches != suspect.touches) continue;
      const ShiftTest test = tester.test(hypothesis.shifts);
      Hypothesis put_back = hypothesis;
      put_back.statistic = test.statistic;
      return test.testable && std::abs(test.equivalent_w) / scale_of(put_back) < options_.limit;
    }
    return false;
  }

 private:
  /// Scatter to judge one suspect by: the smaller of the robust scale of all and the scatter that
  /// would be left without it (external studentisation), at least 1. With few stations a single
  /// blunder spreads into every residual and lifts the robust scale over itself.
  double scale_of(const Hypothesis& hypothesis) const {
    const int left_over = adjusted_.redundancy - static_cast<int>(hypothesis.shifts.cols());
    if (left_over < 3) return scale_;
    const double left = std::max(0.0, adjusted_.chi2 - hypothesis.statistic);
    return std::max(1.0, std::min(scale_, std::sqrt(left / left_over)));
  }

  int part_station(int whole_station) const {
    const auto found = std::find(part_.station_of.begin(), part_.station_of.end(), whole_station);
    return static_cast<int>(found - part_.station_of.begin());
  }

  Eigen::VectorXd seen(const StationTester& tester, const Eigen::VectorXd& shift) const {
    return tester.block().by_unknown.transpose() * tester.weigh(shift);
  }

  std::vector<Hypothesis> single_touches(const StationTester& tester, int station) const {
    std::vector<Hypothesis> all;
    const Station& stay = part_.survey.stations[station];
    int row = 0;
    for (int t = 0; t < stay.touch_count; ++t) {
      const int index = stay.first_touch + t;
      const int rows = part_.survey.touches[index].kind == TouchKind::centre ? 3 : 1;
      Hypothesis hypothesis;
      hypothesis.suspect.station = part_.station_of[station];
      hypothesis.suspect.touches = {part_.touch_of[index]};
      hypothesis.shifts = Eigen::MatrixXd::Zero(tester.block().gap.size(), rows);
      for (int r = 0; r < rows; ++r) hypothesis.shifts(row + r, r) = 1.0;
      all.push_back(std::move(hypothesis));
      row += rows;
    }
    return all;
  }

  Hypothesis whole_station(const StationTester& tester, int station) const {
    const Station& stay = part_.survey.stations[station];
    Hypothesis hypothesis;
    hypothesis.suspect.whole_station = true;
    hypothesis.suspect.station = part_.station_of[station];
    for (int t = 0; t < stay.touch_count; ++t) {
      hypothesis.suspect.touches.push_back(part_.touch_of[stay.first_touch + t]);
    }
    hypothesis.shifts = tester.block().by_nuisance.leftCols<3>();
    return hypothesis;
  }

  void fill(Suspect& suspect, const ShiftTest& test) const {
    suspect.w = std::abs(test.equivalent_w);
    suspect.size_mm = test.shift.norm();
    suspect.limit_mm = suspect.w > 0.0 ? suspect.size_mm * options_.limit / suspect.w : 0.0;
  }

  /// The most significant hypothesis of one station; single touches add their |w| to `sizes`.
  Hypothesis best_of(const StationTester& tester, int station, std::vector<double>& sizes) const {
    Hypothesis best;
    for (Hypothesis& hypothesis : single_touches(tester, station)) {
      const ShiftTest test = tester.test(hypothesis.shifts);
      if (!test.testable) continue;
      fill(hypothesis.suspect, test);
      hypothesis.statistic = test.statistic;
      sizes.push_back(hypothesis.suspect.w);
      if (hypothesis.suspect.w > best.suspect.w) best = std::move(hypothesis);
    }
    // A station with a single touch is that touch; with two or more a common shift is another story.
    if (part_.survey.stations[station].touch_count < 2) return best;
    Hypothesis all = whole_station(tester, station);
    const ShiftTest test = tester.test(all.shifts);
    if (!test.testable) return best;
    fill(all.suspect, test);
    all.statistic = test.statistic;
    if (all.suspect.w > best.suspect.w) best = std::move(all);
    return best;
  }

  const SurveyPart& part_;
  const RandomModel& random_;
  const ScreeningOptions& options_;
  Model model_;
  Adjusted adjusted_;
  double scale_ = 1.0;
};

/// The search itself: what is left out so far, and what was found to be inseparable.
class Search {
 public:
  Search(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
         const RandomModel& random, const std::vector<Effect>& effects,
         const ScreeningOptions& options)
      : machine_(machine),
        survey_(survey),
        turns_(turns),
        random_(random),
        effects_(effects),
        options_(options) {
    result_.excluded.assign(survey.touches.size(), false);
    settled_.assign(survey.touches.size(), false);
  }

  Screening run() {
    for (int iteration = 0; iteration < options_.max_iterations; ++iteration) {
      if (!leave_out_worst()) break;
    }
    if (!result_.given_up) re_admit();
    return std::move(result_);
  }

 private:
  /// One round; false when nothing is left to do.
  bool leave_out_worst() {
    const SurveyPart part = without(survey_, result_.excluded);
    Round round(machine_, part, turns_, random_, effects_, options_);
    if (!round.solve(options_.max_iterations)) return take_back_last();
    std::vector<Hypothesis> suspects = round.suspects();
    std::erase_if(suspects,
                  [&](const Hypothesis& h) { return settled_[h.suspect.touches.front()]; });
    if (suspects.empty()) return false;
    int left_out = 0;
    for (const Hypothesis& hypothesis : suspects) {
      const bool with_top = hypothesis.suspect.w >= together_share * suspects.front().suspect.w;
      if (left_out > 0 && (!with_top || !many_touches())) break;
      if (!round.rivals_of(hypothesis).empty()) continue;
      leave_out(hypothesis.suspect);
      if (result_.given_up) return false;
      ++left_out;
    }
    if (left_out == 0) name_inseparable(round, suspects.front());
    return true;
  }

  /// Only when every suspect has a rival: with another bad touch still in, the scale hides the
  /// difference between a suspect and its rivals.
  void name_inseparable(Round& round, const Hypothesis& top) {
    std::vector<Suspect> rivals = round.rivals_of(top);
    rivals.insert(rivals.begin(), top.suspect);
    for (const Suspect& rival : rivals) settled_[rival.touches.front()] = true;
    result_.inseparable.push_back({std::move(rivals)});
  }

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

  /// Each exclusion is put back alone and tested in the adjustment of everything else.
  void re_admit() {
    std::vector<Suspect> kept;
    for (const Suspect& suspect : result_.exclusions) {
      std::vector<bool> excluded = result_.excluded;
      for (const int touch : suspect.touches) excluded[touch] = false;
      const SurveyPart part = without(survey_, excluded);
      Round round(machine_, part, turns_, random_, effects_, options_);
      if (round.solve(options_.max_iterations) && round.still_fits(suspect)) {
        result_.excluded = std::move(excluded);
      } else {
        kept.push_back(suspect);
      }
    }
    result_.exclusions = std::move(kept);
  }

  const Machine& machine_;
  const Survey& survey_;
  const std::vector<TurnSense>& turns_;
  const RandomModel& random_;
  const std::vector<Effect>& effects_;
  const ScreeningOptions& options_;
  Screening result_;
  std::vector<bool> settled_;  ///< touches named as inseparable: not looked at again
};

}  // namespace

Screening screen(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
                 const RandomModel& random, const std::vector<Effect>& effects,
                 const ScreeningOptions& options) {
  return Search(machine, survey, turns, random, effects, options).run();
}

}  // namespace pivotrace

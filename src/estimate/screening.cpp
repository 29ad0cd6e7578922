#include "estimate/screening.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "estimate/adjustment.h"
#include "estimate/start.h"
#include "estimate/touch_tests.h"
#include "pivotrace/results/statistics.h"

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
  int dimensions = 0;
  double statistic = 0.0;  ///< chi2 that leaving it out would save
  Eigen::MatrixXd shifts;  ///< (m x d)
  bool beyond = false;     ///< of the limit
};

/// The two stories about one station: its worst touch, and all of it. `dimensions` is 0 where a
/// story cannot be tested.
struct StationSuspects {
  Hypothesis touch;
  Hypothesis whole;
  double rank = 0.0;  ///< deviate of the less probable of those beyond the limit; 0 when none is
  bool whole_ranks_first = false;

  const Hypothesis& likelier() const { return whole_ranks_first ? whole : touch; }
};

/// What a suspect is judged by: the variance found in units of the stated one, and how many degrees
/// of freedom stand behind it.
struct Scatter {
  double variance = 1.0;
  int dof = 0;
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
  bool solve() {
    const auto minimum =
        minimise_gaps(model_, random_, starting_unknowns(model_), options_.minimiser);
    if (!minimum) return false;
    adjusted_ = adjusted_at(model_, random_, minimum->unknowns, {});
    return adjusted_.information.full_rank();
  }

  const Adjusted& adjusted() const { return adjusted_; }

  /// Stations with a suspect beyond the limit, most improbable first.
  std::vector<StationSuspects> suspects() {
    std::vector<StationSuspects> all = every_station();
    std::erase_if(all, [](const StationSuspects& station) { return station.rank <= 0.0; });
    std::sort(all.begin(), all.end(),
              [](const StationSuspects& a, const StationSuspects& b) { return a.rank > b.rank; });
    return all;
  }

  /// Both stories about one station, within the limit or not.
  StationSuspects suspects_of(int whole_station) {
    return every_station()[part_station(whole_station)];
  }

  /// Whether the station has any touches in this part.
  bool holds(int whole_station) const {
    return std::find(part_.station_of.begin(), part_.station_of.end(), whole_station) !=
           part_.station_of.end();
  }

  /// Whether the common shift of a station is no larger than chance makes it at `level`.
  bool agrees(const Hypothesis& whole, double level) const {
    return whole.dimensions == 0 || whole.statistic <= critical(whole, 1.0 - level);
  }

  /// Whether the touch has nothing of its own once its station may have slipped.
  bool station_explains(const Hypothesis& touch, double level) {
    StationTester tester(model_, adjusted_, random_);
    const int station = part_station(touch.suspect.station);
    tester.select(station);
    Hypothesis whole = whole_station(tester, station);
    Hypothesis both = whole;
    both.shifts.conservativeResize(Eigen::NoChange, whole.shifts.cols() + touch.shifts.cols());
    both.shifts.rightCols(touch.shifts.cols()) = touch.shifts;
    if (!tested(tester, whole) || !tested(tester, both)) return false;
    Hypothesis rest = both;
    rest.statistic -= whole.statistic;
    rest.dimensions = std::max(1, both.dimensions - whole.dimensions);
    return rest.statistic <= critical(rest, 1.0 - level);
  }

  /// Every other single touch or station that explains the same pattern: correlation of the two
  /// estimated shifts above the limit and nearly the same significance.
  std::vector<Suspect> rivals_of(const Hypothesis& top) {
    if (top.shifts.cols() != 1) return {};
    StationTester tester(model_, adjusted_, random_);
    const int home = part_station(top.suspect.station);
    const Scatter scatter = scatter_of(top);
    tester.select(home);
    const Eigen::VectorXd top_weighed = tester.weigh(top.shifts.col(0));
    const Eigen::VectorXd top_seen = seen(tester, top.shifts.col(0));
    const double top_information = information_on(tester, top);
    std::vector<Suspect> rivals;
    for (std::size_t s = 0; s < part_.survey.stations.size(); ++s) {
      tester.select(static_cast<int>(s));
      for (Hypothesis& other : single_touches(tester, static_cast<int>(s))) {
        if (other.suspect.touches == top.suspect.touches || other.shifts.cols() != 1) continue;
        if (!tested(tester, other)) continue;
        double cross = -top_seen.dot(adjusted_.covariance() * seen(tester, other.shifts.col(0)));
        if (static_cast<int>(s) == home) cross += top_weighed.dot(other.shifts.col(0));
        const double correlation =
            cross / std::sqrt(top_information * information_on(tester, other));
        if (std::abs(correlation) < options_.inseparable_correlation) continue;
        // Leaving out the one instead of the other costs this much more chi2. Perfectly correlated
        // suspects cost the same; a good touch beside a bad one gives itself away once the error
        // outgrows what the station effects can hide.
        const double cost = (top.statistic - other.statistic) / scatter.variance;
        if (cost >= options_.limit * options_.limit) continue;
        judge(other);
        rivals.push_back(other.suspect);
      }
    }
    return rivals;
  }

 private:
  /// With few stations a single blunder spreads into every residual and lifts the robust variance
  /// over itself; with several blunders the variance left without one of them is still theirs. The
  /// smaller of the two, and never less than what is stated.
  Scatter scatter_of(const Hypothesis& hypothesis) const {
    constexpr int fewest = 3;
    const int left_over = adjusted_.redundancy - hypothesis.dimensions;
    if (left_over < fewest) return {robust_variance_, 0};
    const double left = std::max(0.0, adjusted_.chi2 - hypothesis.statistic) / left_over;
    return {std::max(1.0, std::min(robust_variance_, left)), left_over};
  }

  /// chi2 a shift must save to be suspected at `probability`.
  double critical(const Hypothesis& hypothesis, double probability) const {
    const Scatter scatter = scatter_of(hypothesis);
    const double d = hypothesis.dimensions;
    if (scatter.variance > 1.0 && scatter.dof > 0) {
      return scatter.variance * d * f_quantile(probability, d, scatter.dof);
    }
    return scatter.variance * chi_squared_quantile(probability, d);
  }

  /// Deviate as improbable as the shift, by what critical() goes by.
  double deviate(const Hypothesis& hypothesis) const {
    const Scatter scatter = scatter_of(hypothesis);
    const double share = hypothesis.statistic / scatter.variance;
    const double by_sigma = equivalent_normal(share, hypothesis.dimensions);
    if (scatter.variance <= 1.0 || scatter.dof == 0) return by_sigma;
    const double d = hypothesis.dimensions;
    return std::min(by_sigma, normal_deviate_of_log_tail(log_f_tail(share / d, d, scatter.dof)));
  }

  int part_station(int whole_station) const {
    const auto found = std::find(part_.station_of.begin(), part_.station_of.end(), whole_station);
    return static_cast<int>(found - part_.station_of.begin());
  }

  Eigen::VectorXd seen(const StationTester& tester, const Eigen::VectorXd& shift) const {
    return tester.block().by_unknown.transpose() * tester.weigh(shift);
  }

  static double information_on(const StationTester& tester, const Hypothesis& single) {
    return tester.test(single.shifts).information(0, 0);
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

  /// Tests a hypothesis; false when nothing checks it.
  static bool tested(const StationTester& tester, Hypothesis& hypothesis) {
    const ShiftTest test = tester.test(hypothesis.shifts);
    hypothesis.dimensions = test.dimensions;
    hypothesis.statistic = test.statistic;
    hypothesis.suspect.size_mm = test.shift.norm();
    hypothesis.suspect.saved_chi2 = test.statistic;
    return test.testable;
  }

  /// Size, limit and deviate of a tested hypothesis; needs the robust variance.
  void judge(Hypothesis& hypothesis) const {
    const double probability = 2.0 * normal_cdf(options_.limit) - 1.0;
    const double limit = critical(hypothesis, probability);
    Suspect& suspect = hypothesis.suspect;
    suspect.w = deviate(hypothesis);
    if (hypothesis.statistic > 0.0) {
      suspect.limit_mm = suspect.size_mm * std::sqrt(limit / hypothesis.statistic);
    }
    hypothesis.beyond = hypothesis.statistic > limit;
  }

  /// Worst touch and whole of one station; single touches add their deviates to `sizes`.
  StationSuspects stories_of(const StationTester& tester, int station,
                             std::vector<double>& sizes) const {
    StationSuspects both;
    for (Hypothesis& hypothesis : single_touches(tester, station)) {
      if (!tested(tester, hypothesis)) continue;
      sizes.push_back(equivalent_normal(hypothesis.statistic, hypothesis.dimensions));
      if (both.touch.dimensions == 0 || hypothesis.statistic > both.touch.statistic) {
        both.touch = std::move(hypothesis);
      }
    }
    // A station with a single touch is that touch; with two or more a common shift is another story.
    if (part_.survey.stations[station].touch_count < 2) return both;
    both.whole = whole_station(tester, station);
    tested(tester, both.whole);
    return both;
  }

  std::vector<StationSuspects> every_station() {
    StationTester tester(model_, adjusted_, random_);
    std::vector<StationSuspects> all;
    std::vector<double> sizes;
    for (std::size_t s = 0; s < part_.survey.stations.size(); ++s) {
      tester.select(static_cast<int>(s));
      all.push_back(stories_of(tester, static_cast<int>(s), sizes));
    }
    const double robust = sizes.empty() ? 1.0 : median(sizes) / median_of_normal;
    robust_variance_ = std::max(1.0, robust * robust);
    double best_left = robust_variance_;
    for (StationSuspects& station : all) {
      for (Hypothesis* hypothesis : {&station.touch, &station.whole}) {
        if (hypothesis->dimensions == 0) continue;
        judge(*hypothesis);
        best_left = std::min(best_left, scatter_of(*hypothesis).variance);
      }
    }
    for (StationSuspects& station : all) rank(station, best_left);
    return all;
  }

  /// Stories are compared by their tail areas under one and the same scatter: that which the best
  /// of them all would leave. The tail weighs the two more directions of a slip against a touch.
  static void rank(StationSuspects& station, double variance) {
    const auto rank_of = [&](const Hypothesis& hypothesis) {
      if (!hypothesis.beyond) return 0.0;
      return equivalent_normal(hypothesis.statistic / variance, hypothesis.dimensions);
    };
    const double touch = rank_of(station.touch);
    const double whole = rank_of(station.whole);
    station.rank = std::max(touch, whole);
    station.whole_ranks_first = whole > touch;
  }

  const SurveyPart& part_;
  const RandomModel& random_;
  const ScreeningOptions& options_;
  Model model_;
  Adjusted adjusted_;
  double robust_variance_ = 1.0;
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
    for (int iteration = 0; iteration < options_.max_rounds; ++iteration) {
      if (!leave_out_worst()) break;
    }
    if (!result_.given_up) ask_again();
    if (!result_.exclusions.empty() || !result_.inseparable.empty()) note_what_is_left();
    return std::move(result_);
  }

 private:
  /// One round; false when nothing is left to do.
  bool leave_out_worst() {
    const SurveyPart part = without(survey_, result_.excluded);
    Round round(machine_, part, turns_, random_, effects_, options_);
    if (!round.solve()) return take_back_last();
    std::vector<StationSuspects> suspects = round.suspects();
    std::erase_if(suspects, [&](const StationSuspects& station) {
      return settled_[station.likelier().suspect.touches.front()];
    });
    if (suspects.empty()) return false;
    int left_out = 0;
    for (const StationSuspects& station : suspects) {
      const bool with_top = station.rank >= together_share * suspects.front().rank;
      if (left_out > 0 && (!with_top || !many_touches())) break;
      if (!round.rivals_of(station.likelier()).empty()) continue;
      leave_out(station.likelier().suspect);
      if (result_.given_up) return false;
      ++left_out;
    }
    if (left_out == 0) name_inseparable(round, suspects.front().likelier());
    return true;
  }

  /// Only when every suspect has a rival: with another bad touch still in, the scale hides the
  /// difference between a suspect and its rivals.
  void name_inseparable(Round& round, const Hypothesis& top) {
    std::vector<Suspect> rivals = round.rivals_of(top);
    rivals.insert(rivals.begin(), top.suspect);
    for (const Suspect& rival : rivals) settled_[rival.touches.front()] = true;
    result_.inseparable.push_back({std::move(rivals), std::abs(top.suspect.w) > survey_limit()});
  }

  /// Deviate that one good survey in a thousand exceeds somewhere.
  double survey_limit() const {
    const double level = 2.0 * normal_cdf(-options_.limit);
    const auto tests = static_cast<double>(survey_.touches.size() + survey_.stations.size());
    return -normal_quantile(level / (2.0 * tests));
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

  /// Every station that lost something is put back whole and asked again with all other bad touches
  /// gone: while they were in, they bent its residuals.
  void ask_again() {
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

  /// What is wrong at a station when everything in `excluded` is known to be bad: nothing, a minority
  /// of its touches, or all of it. Absent when the survey cannot be solved that way.
  std::optional<std::vector<Suspect>> verdict_on(int station, std::vector<bool> excluded) {
    const SurveyPart part = without(survey_, excluded);
    Round round(machine_, part, turns_, random_, effects_, options_);
    if (!round.solve()) return std::nullopt;
    const StationSuspects first = round.suspects_of(station);
    std::vector<Suspect> slipped = {first.whole.suspect};
    if (!first.touch.beyond) return first.whole.beyond ? slipped : std::vector<Suspect>{};
    std::vector<Suspect> touches;
    StationSuspects stories = first;
    const int minority = std::max(1, (survey_.stations[station].touch_count - 1) / 2);
    while (static_cast<int>(touches.size()) < minority) {
      touches.push_back(stories.touch.suspect);
      for (const int touch : touches.back().touches) excluded[touch] = true;
      const SurveyPart rest = without(survey_, excluded);
      Round others(machine_, rest, turns_, random_, effects_, options_);
      if (!others.solve()) return std::nullopt;
      if (!others.holds(station)) return touches;
      stories = others.suspects_of(station);
      if (stories.touch.beyond) continue;
      if (first.whole.beyond && !others.agrees(stories.whole, options_.rest_level)) return slipped;
      if (touches.size() == 1 && !round.rivals_of(first.touch).empty()) {
        name_inseparable(round, first.touch);
        return std::vector<Suspect>{};
      }
      touches.front().station_possible = touches.size() == 1 && first.whole.beyond &&
                                         round.station_explains(first.touch, options_.rest_level);
      return touches;
    }
    return slipped;
  }

  void note_what_is_left() {
    const SurveyPart part = without(survey_, result_.excluded);
    Round round(machine_, part, turns_, random_, effects_, options_);
    if (!round.solve()) return;
    result_.chi2 = round.adjusted().chi2;
    result_.redundancy = round.adjusted().redundancy;
    for (const Inseparable& group : result_.inseparable) {
      result_.chi2 -= group.suspects.front().saved_chi2;
      --result_.redundancy;
    }
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

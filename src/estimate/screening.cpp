#include "estimate/screening.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <memory>
#include <numeric>
#include <optional>
#include <utility>

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
  part.survey.simulated = survey.simulated;
  part.survey.settings = survey.settings;
  part.survey.styluses = survey.styluses;
  part.survey.turns_told_apart = survey.turns_told_apart;
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

/// Rows that leave less of the information than this hold up an unknown all by themselves.
constexpr double smallest_share_left = 1e-9;

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
  int first_row = 0;       ///< of a single touch, in the readings of its station
  int rows = 0;            ///< of a single touch; 0: the shifts are below
  Eigen::MatrixXd shifts;  ///< (m x d), of a whole station
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
  double dof = 0.0;
};

/// Deviate that good surveys exceed anywhere with a chance of `level`.
double shared_limit(const Survey& survey, double level) {
  const auto tests = static_cast<double>(survey.touches.size() + survey.stations.size());
  return -normal_quantile(level / (2.0 * tests));
}

/// What all hypotheses under one adjustment are held against.
struct Background {
  double robust_variance = 1.0;
  double best_left = 1.0;             ///< variance that the best of all stories would leave
  std::vector<double> most_leverage;  ///< per station: of its single touches
};

/// One adjustment with every hypothesis tested.
class Round {
 public:
  Round(const Machine& machine, SurveyPart part, const std::vector<TurnSense>& turns,
        const RandomModel& random, const std::vector<Effect>& effects,
        const ScreeningOptions& options)
      : random_(random),
        options_(options),
        part_(std::make_shared<const SurveyPart>(std::move(part))),
        limit_(shared_limit(part_->survey, options.survey_level)),
        model_(std::make_shared<Model>(machine, part_->survey, effects)) {
    model_->set_turns(turns);
  }

  /// False when this part can no longer be solved.
  bool solve(const Eigen::VectorXd* near = nullptr) {
    const bool fits = near != nullptr && near->size() == model_->layout().unknowns;
    const auto minimum = minimise_gaps(*model_, random_, fits ? *near : starting_unknowns(*model_),
                                       options_.minimiser);
    if (!minimum) return false;
    adjusted_ = settled_at(*model_, random_, minimum->unknowns, {});
    return adjusted_.information.full_rank();
  }

  /// This adjustment, with what it left out beside it: `whole` is a round of the whole
  /// survey, not solved yet. False when the two do not have the same unknowns.
  bool hand_to(Round& whole, const std::vector<bool>& left_out) const {
    if (whole.model_->layout().names != model_->layout().names) return false;
    whole.adjusted_ = adjusted_;
    whole.left_out_ = left_out;
    whole.every_station();
    return true;
  }

  /// The same whole survey with one station changed: of its touches those in `left_out` are.
  /// Its rows are taken out of the adjustment and put in again as wanted, by one linear step;
  /// absent when nothing checks what is left. Everything else is held against the background
  /// found here, which one station in hundreds does not change.
  std::optional<Round> with_station(int whole_station, const std::vector<bool>& left_out) const {
    Round changed = *this;
    const int station = part_station(whole_station);
    for (const int t : touches_of(station)) changed.left_out_[t] = left_out[t];
    StationTester tester(*model_, adjusted_, random_);
    Adjusted& adjusted = changed.adjusted_;
    Eigen::MatrixXd& joint = adjusted.joint;
    Eigen::VectorXd slope = Eigen::VectorXd::Zero(joint.rows());
    for (const double sign : {-1.0, 1.0}) {
      tester.select(station, sign < 0.0 ? left_out_ : changed.left_out_);
      const auto rows = tester.block().gap.size();
      if (rows == 0) continue;
      const std::vector<int>& columns = tester.columns();
      const Eigen::MatrixXd& jacobian = tester.derivatives();
      const Eigen::MatrixXd weighed = tester.weigh(jacobian);
      const Eigen::VectorXd left = tester.weigh(tester.residual());
      // (N + sign J'C^-1 J)^-1 = N^-1 - sign N^-1 J'C^-1 (I + sign J N^-1 J'C^-1)^-1 J
      // N^-1
      const Eigen::MatrixXd carried = joint(Eigen::all, columns) * weighed.transpose();
      const Eigen::PartialPivLU<Eigen::MatrixXd> inner(
          Eigen::MatrixXd::Identity(rows, rows) + sign * jacobian * carried(columns, Eigen::all));
      if (!(inner.determinant() > smallest_share_left)) return std::nullopt;
      const Eigen::MatrixXd seen = jacobian * joint(columns, Eigen::all);
      joint -= sign * carried * inner.solve(seen);
      slope(columns) += sign * jacobian.transpose() * left;
      adjusted.chi2 += sign * tester.residual().dot(left);
      adjusted.redundancy += static_cast<int>(sign) * static_cast<int>(rows);
    }
    const Eigen::VectorXd step = joint * slope;
    const Eigen::Index unknowns = adjusted_.unknowns.size();
    adjusted.chi2 -= slope.dot(step);
    adjusted.unknowns -= step.tail(unknowns);
    adjusted.shared -= step.head(step.size() - unknowns);
    adjusted.information.covariance = joint.bottomRightCorner(unknowns, unknowns);
    return changed;
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
    const int station = part_station(whole_station);
    if (!background_) return every_station()[station];
    StationTester tester(*model_, adjusted_, random_);
    tester.select(station, left_out_);
    std::vector<double> sizes;
    double leverage = 0.0;
    StationSuspects both = stories_of(tester, station, sizes, leverage);
    double best_left = background_->best_left;
    judge_both(both, best_left);
    rank(both, best_left);
    return both;
  }

  /// Whether the station has any touches in this part.
  bool holds(int whole_station) const {
    const int station = part_station(whole_station);
    const std::vector<int>& stations = part_->station_of;
    const bool listed =
        station < static_cast<int>(stations.size()) && stations[station] == whole_station;
    return listed && !touches_in(station).empty();
  }

  /// Whether the common shift of a station is no larger than chance makes it at `level`.
  bool agrees(const Hypothesis& whole, double level) const {
    return whole.dimensions == 0 || whole.statistic <= critical(whole, 1.0 - level);
  }

  /// Whether the touch has nothing of its own once its station may have slipped.
  bool station_explains(const Hypothesis& touch, double level) {
    StationTester tester(*model_, adjusted_, random_);
    const int station = part_station(touch.suspect.station);
    tester.select(station, left_out_);
    Hypothesis whole = whole_station(tester, station);
    Hypothesis both = whole;
    both.shifts.conservativeResize(Eigen::NoChange, whole.shifts.cols() + touch.rows);
    both.shifts.rightCols(touch.rows) = unit_shifts(tester, touch.first_row, touch.rows);
    if (!tested(tester, whole) || !tested(tester, both)) return false;
    Hypothesis rest = both;
    rest.statistic -= whole.statistic;
    rest.dimensions = std::max(1, both.dimensions - whole.dimensions);
    return rest.statistic <= critical(rest, 1.0 - level);
  }

  /// Every other single touch or station that explains the same pattern: correlation of the two
  /// estimated shifts above the limit and nearly the same significance.
  std::vector<Suspect> rivals_of(const Hypothesis& top) {
    if (top.rows != 1) return {};
    StationTester tester(*model_, adjusted_, random_);
    const int home = part_station(top.suspect.station);
    const Scatter scatter = scatter_of(top);
    tester.select(home, left_out_);
    const Eigen::VectorXd top_weighed = tester.weigh(unit_shifts(tester, top.first_row, 1));
    const Eigen::VectorXd top_seen = tester.derivatives().transpose() * top_weighed;
    const Eigen::VectorXd top_moved = adjusted_.joint(Eigen::all, tester.columns()) * top_seen;
    const double top_information = tester.test_reading(top.first_row).information(0, 0);
    const double top_leverage = tester.leverage(top.first_row);
    std::vector<Suspect> rivals;
    for (int s = 0; s < static_cast<int>(part_->station_of.size()); ++s) {
      if (s != home && !may_correlate(top_leverage, s)) continue;
      tester.select(s, left_out_);
      const Eigen::VectorXd seen_along =
          tester.weigh(tester.derivatives() * top_moved(tester.columns()));  // C^-1 J N^-1 J'C^-1 e
      for (Hypothesis& other : single_touches(s)) {
        if (other.suspect.touches == top.suspect.touches || other.rows != 1) continue;
        if (!tested(tester, other)) continue;
        double cross = -seen_along[other.first_row];
        if (s == home) cross += top_weighed[other.first_row];
        const double information = tester.test_reading(other.first_row).information(0, 0);
        const double correlation = cross / std::sqrt(top_information * information);
        if (std::abs(correlation) < options_.inseparable_correlation) continue;
        // Leaving out the one instead of the other costs this much more chi2. Perfectly correlated
        // suspects cost the same; a good touch beside a bad one gives itself away once the error
        // outgrows what the station effects can hide.
        const double cost = (top.statistic - other.statistic) / scatter.variance;
        if (cost >= limit_ * limit_) continue;
        judge(other);
        rivals.push_back(other.suspect);
      }
    }
    return rivals;
  }

 private:
  /// With few stations a single blunder spreads into every residual and lifts the robust variance
  /// over itself; with several blunders the variance left without one of them is still theirs. The
  /// smaller of the two, and never less than what is stated. What is stated counts with its own
  /// degrees of freedom: five stations alone would let an error of ten sigmas pass.
  Scatter scatter_of(const Hypothesis& hypothesis) const {
    const int left_over = adjusted_.redundancy - hypothesis.dimensions;
    const double stated = model_->machine().sigma_dof;
    const double dof = stated + left_over;
    const double robust = background_ ? background_->robust_variance : 1.0;
    if (left_over <= 0) return {robust, 0.0};
    const double left = std::max(0.0, adjusted_.chi2 - hypothesis.statistic);
    return {std::max(1.0, std::min(robust, (stated + left) / dof)), dof};
  }

  /// False when no touch of the station can be a rival of one with this leverage.
  bool may_correlate(double leverage, int station) const {
    constexpr double for_round_off = 0.99;
    const double limit = options_.inseparable_correlation * for_round_off;
    return !(leverage * background_->most_leverage[station] < limit * limit);
  }

  /// chi2 a shift must save to be suspected at `probability`.
  double critical(const Hypothesis& hypothesis, double probability) const {
    const Scatter scatter = scatter_of(hypothesis);
    const double d = hypothesis.dimensions;
    if (scatter.dof > 0.0) return scatter.variance * d * f_quantile(probability, d, scatter.dof);
    return scatter.variance * chi_squared_quantile(probability, d);
  }

  /// Deviate as improbable as the shift, by what critical() goes by.
  double deviate(const Hypothesis& hypothesis) const {
    const Scatter scatter = scatter_of(hypothesis);
    const double share = hypothesis.statistic / scatter.variance;
    const double by_sigma = equivalent_normal(share, hypothesis.dimensions);
    if (scatter.dof <= 0.0) return by_sigma;
    const double d = hypothesis.dimensions;
    return std::min(by_sigma, normal_deviate_of_log_tail(log_f_tail(share / d, d, scatter.dof)));
  }

  int part_station(int whole_station) const {
    const std::vector<int>& stations = part_->station_of;
    const auto found = std::lower_bound(stations.begin(), stations.end(), whole_station);
    return static_cast<int>(found - stations.begin());
  }

  /// Touches of a station, by index in this round's survey.
  std::vector<int> touches_of(int station) const {
    const Station& stay = part_->survey.stations[station];
    std::vector<int> touches(stay.touch_count);
    std::iota(touches.begin(), touches.end(), stay.first_touch);
    return touches;
  }

  /// Those that are in.
  std::vector<int> touches_in(int station) const {
    std::vector<int> touches = touches_of(station);
    if (left_out_.empty()) return touches;
    std::erase_if(touches, [&](int t) { return left_out_[t]; });
    return touches;
  }

  std::vector<Hypothesis> single_touches(int station) const {
    std::vector<Hypothesis> all;
    int row = 0;
    for (const int index : touches_in(station)) {
      Hypothesis hypothesis;
      hypothesis.suspect.station = part_->station_of[station];
      hypothesis.suspect.touches = {part_->touch_of[index]};
      hypothesis.first_row = row;
      hypothesis.rows = model_->survey().touches[index].kind == TouchKind::centre ? 3 : 1;
      row += hypothesis.rows;
      all.push_back(std::move(hypothesis));
    }
    return all;
  }

  Hypothesis whole_station(const StationTester& tester, int station) const {
    Hypothesis hypothesis;
    hypothesis.suspect.whole_station = true;
    hypothesis.suspect.station = part_->station_of[station];
    for (const int index : touches_in(station)) {
      hypothesis.suspect.touches.push_back(part_->touch_of[index]);
    }
    hypothesis.shifts = tester.block().by_nuisance.leftCols<3>();
    return hypothesis;
  }

  static ShiftTest test_of(const StationTester& tester, const Hypothesis& hypothesis) {
    if (hypothesis.rows == 0) return tester.test(hypothesis.shifts);
    if (hypothesis.rows == 1) return tester.test_reading(hypothesis.first_row);
    return tester.test(unit_shifts(tester, hypothesis.first_row, hypothesis.rows));
  }

  /// Tests a hypothesis; false when nothing checks it.
  static bool tested(const StationTester& tester, Hypothesis& hypothesis) {
    const ShiftTest test = test_of(tester, hypothesis);
    hypothesis.dimensions = test.dimensions;
    hypothesis.statistic = test.statistic;
    hypothesis.suspect.size_mm = test.shift.norm();
    hypothesis.suspect.saved_chi2 = test.statistic;
    return test.testable;
  }

  /// Size, limit and deviate of a tested hypothesis; needs the robust variance.
  void judge(Hypothesis& hypothesis) const {
    const double probability = 2.0 * normal_cdf(limit_) - 1.0;
    const double limit = critical(hypothesis, probability);
    Suspect& suspect = hypothesis.suspect;
    suspect.w = deviate(hypothesis);
    if (hypothesis.statistic > 0.0) {
      suspect.limit_mm = suspect.size_mm * std::sqrt(limit / hypothesis.statistic);
    }
    hypothesis.beyond = hypothesis.statistic > limit;
  }

  /// Worst touch and whole of one station; single touches add their deviates to `sizes`.
  StationSuspects stories_of(const StationTester& tester, int station, std::vector<double>& sizes,
                             double& most_leverage) const {
    StationSuspects both;
    std::vector<Hypothesis> touches = single_touches(station);
    const std::size_t count = touches.size();
    for (Hypothesis& hypothesis : touches) {
      if (hypothesis.rows == 1) {
        most_leverage = std::max(most_leverage, tester.leverage(hypothesis.first_row));
      }
      if (!tested(tester, hypothesis)) continue;
      sizes.push_back(equivalent_normal(hypothesis.statistic, hypothesis.dimensions));
      if (both.touch.dimensions == 0 || hypothesis.statistic > both.touch.statistic) {
        both.touch = std::move(hypothesis);
      }
    }
    // A station with a single touch is that touch; with two or more a common shift is another story.
    if (count < 2) return both;
    both.whole = whole_station(tester, station);
    tested(tester, both.whole);
    return both;
  }

  /// Both stories of every station; finds the background on the way.
  std::vector<StationSuspects> every_station() {
    StationTester tester(*model_, adjusted_, random_);
    const auto stations = static_cast<int>(part_->station_of.size());
    std::vector<StationSuspects> all;
    std::vector<double> sizes;
    Background found;
    found.most_leverage.assign(part_->station_of.size(), 0.0);
    for (int s = 0; s < stations; ++s) {
      tester.select(s, left_out_);
      all.push_back(stories_of(tester, s, sizes, found.most_leverage[s]));
    }
    const double robust = sizes.empty() ? 1.0 : median(sizes) / median_of_normal;
    found.robust_variance = std::max(1.0, robust * robust);
    found.best_left = found.robust_variance;
    auto background = std::make_shared<Background>(std::move(found));
    background_ = background;
    for (StationSuspects& station : all) judge_both(station, background->best_left);
    for (StationSuspects& station : all) rank(station, background->best_left);
    return all;
  }

  void judge_both(StationSuspects& station, double& best_left) const {
    for (Hypothesis* hypothesis : {&station.touch, &station.whole}) {
      if (hypothesis->dimensions == 0) continue;
      judge(*hypothesis);
      best_left = std::min(best_left, scatter_of(*hypothesis).variance);
    }
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

  const RandomModel& random_;
  const ScreeningOptions& options_;
  std::shared_ptr<const SurveyPart> part_;
  double limit_;  ///< deviate beyond which a touch or a station is suspected
  std::shared_ptr<Model> model_;
  std::vector<bool> left_out_;  ///< of this round's part; empty: nothing is
  Adjusted adjusted_;
  std::shared_ptr<const Background> background_;  ///< not there before every station was tested
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
  /// Of the survey without what is `excluded`, not solved yet.
  Round round_without(const std::vector<bool>& excluded) const {
    return {machine_, without(survey_, excluded), turns_, random_, effects_, options_};
  }

  /// A long survey is solved again from where it was: one station in hundreds does not move
  /// it far.
  bool solve(Round& round) {
    const bool again = many_touches() && near_.size() > 0;
    if (!round.solve(again ? &near_ : nullptr)) return false;
    near_ = round.adjusted().unknowns;
    return true;
  }

  /// One round; false when nothing is left to do.
  bool leave_out_worst() {
    Round round = round_without(result_.excluded);
    if (!solve(round)) return take_back_last();
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
    Round without_bad = round_without(result_.excluded);
    if (!solve(without_bad)) return;
    Round whole = round_without(std::vector<bool>(survey_.touches.size(), false));
    if (without_bad.hand_to(whole, result_.excluded)) all_good_.emplace(std::move(whole));
  }

  /// The survey without what is `excluded`, which differs from what was left out when
  /// prepare_changes() was called in one station alone. Absent when it cannot be solved that
  /// way.
  std::optional<Round> changed_round(int station, const std::vector<bool>& excluded) {
    if (all_good_) return all_good_->with_station(station, excluded);
    std::optional<Round> round = round_without(excluded);
    if (!solve(*round)) round.reset();
    return round;
  }

  /// What is wrong at a station when everything in `excluded` is known to be bad: nothing, a minority
  /// of its touches, or all of it. Absent when the survey cannot be solved that way.
  std::optional<std::vector<Suspect>> verdict_on(int station, std::vector<bool> excluded) {
    std::optional<Round> round = changed_round(station, excluded);
    if (!round) return std::nullopt;
    const StationSuspects first = round->suspects_of(station);
    std::vector<Suspect> slipped = {first.whole.suspect};
    if (!first.touch.beyond) return first.whole.beyond ? slipped : std::vector<Suspect>{};
    std::vector<Suspect> touches;
    StationSuspects stories = first;
    const int minority = std::max(1, (survey_.stations[station].touch_count - 1) / 2);
    while (static_cast<int>(touches.size()) < minority) {
      touches.push_back(stories.touch.suspect);
      for (const int touch : touches.back().touches) excluded[touch] = true;
      std::optional<Round> others = changed_round(station, excluded);
      if (!others) return std::nullopt;
      if (!others->holds(station)) return touches;
      stories = others->suspects_of(station);
      if (stories.touch.beyond) continue;
      if (first.whole.beyond && !others->agrees(stories.whole, options_.rest_level)) return slipped;
      if (touches.size() == 1 && !round->rivals_of(first.touch).empty()) {
        name_inseparable(*round, first.touch);
        return std::vector<Suspect>{};
      }
      touches.front().station_possible = touches.size() == 1 && first.whole.beyond &&
                                         round->station_explains(first.touch, options_.rest_level);
      return touches;
    }
    return slipped;
  }

  void note_what_is_left() {
    Round round = round_without(result_.excluded);
    if (!solve(round)) return;
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
  Eigen::VectorXd near_;  ///< where the last adjustment ended
  std::optional<Round> all_good_;
  std::vector<bool> settled_;  ///< touches named as inseparable: not looked at again
};

}  // namespace

Screening screen(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
                 const RandomModel& random, const std::vector<Effect>& effects,
                 const ScreeningOptions& options) {
  return Search(machine, survey, turns, random, effects, options).run();
}

}  // namespace pivotrace

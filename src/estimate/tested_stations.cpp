#include "estimate/tested_stations.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "estimate/readings.h"

namespace pivotrace {

namespace {

/// Median of |standard normal|.
constexpr double median_of_normal = 0.6745;

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<long>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double robust_variance(const std::vector<double>& deviates) {
  const double robust = deviates.empty() ? 1.0 : median(deviates) / median_of_normal;
  return std::max(1.0, robust * robust);
}

ShiftTest test_of(const StationTester& tester, const Hypothesis& hypothesis) {
  if (hypothesis.rows == 0) return tester.test(hypothesis.shifts);
  if (hypothesis.rows == 1) return tester.test_reading(hypothesis.first_row);
  return tester.test(unit_shifts(tester, hypothesis.first_row, hypothesis.rows));
}

/// Tests a hypothesis; false when nothing checks it.
bool tested(const StationTester& tester, Hypothesis& hypothesis) {
  const ShiftTest test = test_of(tester, hypothesis);
  hypothesis.dimensions = test.dimensions;
  hypothesis.statistic = test.statistic;
  hypothesis.suspect.size_mm = test.shift.norm();
  hypothesis.suspect.saved_chi2 = test.statistic;
  return test.testable;
}

}  // namespace

TestedStations::TestedStations(const PartAdjustment& adjustment, const SuspicionLimits& limits)
    : adjustment_(adjustment), limits_(limits) {
  stations_ = every_station();
}

TestedStations::TestedStations(const PartAdjustment& adjustment, const SuspicionLimits& limits,
                               std::shared_ptr<const Background> background)
    : adjustment_(adjustment), limits_(limits), background_(std::move(background)) {}

std::vector<StationStories> TestedStations::suspects() const {
  std::vector<StationStories> all = stations_;
  std::erase_if(all, [](const StationStories& station) { return station.rank <= 0.0; });
  std::sort(all.begin(), all.end(),
            [](const StationStories& a, const StationStories& b) { return a.rank > b.rank; });
  return all;
}

StationStories TestedStations::stories_of(int whole_station) const {
  const int station = adjustment_.part_station(whole_station);
  if (!stations_.empty()) return stations_[station];
  StationTester tester = adjustment_.tester();
  adjustment_.select(tester, station);
  TouchSizes sizes;
  StationStories both = tested_stories(tester, station, sizes);
  const double best_left = std::min(background_->best_left, judge_both(both));
  return ranked(std::move(both), best_left);
}

bool TestedStations::agrees(const Hypothesis& whole, double level) const {
  if (whole.dimensions == 0) return true;
  return whole.statistic <= critical_chi2(whole.dimensions, scatter_of(whole), 1.0 - level);
}

bool TestedStations::station_explains(const Hypothesis& touch, double level) const {
  StationTester tester = adjustment_.tester();
  const int station = adjustment_.part_station(touch.suspect.station);
  adjustment_.select(tester, station);
  Hypothesis whole = whole_station(tester, station);
  Hypothesis both = whole;
  both.shifts.conservativeResize(Eigen::NoChange, whole.shifts.cols() + touch.rows);
  both.shifts.rightCols(touch.rows) = unit_shifts(tester, touch.first_row, touch.rows);
  if (!tested(tester, whole) || !tested(tester, both)) return false;
  Hypothesis rest = both;
  rest.statistic -= whole.statistic;
  rest.dimensions = std::max(1, both.dimensions - whole.dimensions);
  return rest.statistic <= critical_chi2(rest.dimensions, scatter_of(rest), 1.0 - level);
}

std::vector<Suspect> TestedStations::rivals_of(const Hypothesis& top) const {
  if (top.rows != 1) return {};
  StationTester tester = adjustment_.tester();
  const int home = adjustment_.part_station(top.suspect.station);
  const Scatter scatter = scatter_of(top);
  adjustment_.select(tester, home);
  const Eigen::VectorXd top_weighed = tester.weigh(unit_shifts(tester, top.first_row, 1));
  const Eigen::VectorXd top_seen = tester.derivatives().transpose() * top_weighed;
  const Eigen::VectorXd top_moved =
      adjustment_.adjusted().joint(Eigen::all, tester.columns()) * top_seen;
  const double top_information = tester.test_reading(top.first_row).information(0, 0);
  const double top_leverage = tester.leverage(top.first_row);
  std::vector<Suspect> rivals;
  for (int s = 0; s < adjustment_.station_count(); ++s) {
    if (s != home && !may_correlate(top_leverage, s)) continue;
    adjustment_.select(tester, s);
    const Eigen::VectorXd seen_along =
        tester.weigh(tester.derivatives() * top_moved(tester.columns()));  // C^-1 J N^-1 J'C^-1 e
    for (Hypothesis& other : single_touches(s)) {
      if (other.suspect.touches == top.suspect.touches || other.rows != 1) continue;
      if (!tested(tester, other)) continue;
      double cross = -seen_along[other.first_row];
      if (s == home) cross += top_weighed[other.first_row];
      const double information = tester.test_reading(other.first_row).information(0, 0);
      const double correlation = cross / std::sqrt(top_information * information);
      if (std::abs(correlation) < limits_.inseparable_correlation) continue;
      // Leaving out the one instead of the other costs this much more chi2. Perfectly correlated
      // suspects cost the same; a good touch beside a bad one gives itself away once the error
      // outgrows what the station effects can hide.
      const double cost = (top.statistic - other.statistic) / scatter.variance;
      if (cost >= limits_.deviate * limits_.deviate) continue;
      const Scatter of_other = scatter_of(other);
      rivals.push_back(judged(std::move(other), of_other, limits_.deviate).suspect);
    }
  }
  return rivals;
}

LeftOver TestedStations::left_over() const {
  const Adjusted& adjusted = adjustment_.adjusted();
  return {adjusted.chi2, adjusted.redundancy, adjustment_.model().machine().sigma_dof,
          background_->robust_variance};
}

Scatter TestedStations::scatter_of(const Hypothesis& hypothesis) const {
  return scatter_without(hypothesis, left_over());
}

/// False when no touch of the station can be a rival of one with this leverage.
bool TestedStations::may_correlate(double leverage, int station) const {
  constexpr double for_round_off = 0.99;
  const double limit = limits_.inseparable_correlation * for_round_off;
  return !(leverage * background_->most_leverage[station] < limit * limit);
}

std::vector<Hypothesis> TestedStations::single_touches(int station) const {
  std::vector<Hypothesis> all;
  int row = 0;
  for (const int index : adjustment_.touches_in(station)) {
    Hypothesis hypothesis;
    hypothesis.suspect.station = adjustment_.whole_station(station);
    hypothesis.suspect.touches = {adjustment_.whole_touch(index)};
    hypothesis.first_row = row;
    hypothesis.rows = readings_of(adjustment_.touch(index));
    row += hypothesis.rows;
    all.push_back(std::move(hypothesis));
  }
  return all;
}

Hypothesis TestedStations::whole_station(const StationTester& tester, int station) const {
  Hypothesis hypothesis;
  hypothesis.suspect.whole_station = true;
  hypothesis.suspect.station = adjustment_.whole_station(station);
  for (const int index : adjustment_.touches_in(station)) {
    hypothesis.suspect.touches.push_back(adjustment_.whole_touch(index));
  }
  hypothesis.shifts = tester.block().by_nuisance.leftCols<3>();
  return hypothesis;
}

/// Worst touch and whole of one station, not judged yet; single touches add to `sizes`.
StationStories TestedStations::tested_stories(const StationTester& tester, int station,
                                              TouchSizes& sizes) const {
  StationStories both;
  std::vector<Hypothesis> touches = single_touches(station);
  const std::size_t count = touches.size();
  for (Hypothesis& hypothesis : touches) {
    if (hypothesis.rows == 1) {
      sizes.most_leverage = std::max(sizes.most_leverage, tester.leverage(hypothesis.first_row));
    }
    if (!tested(tester, hypothesis)) continue;
    sizes.deviates.push_back(equivalent_normal(hypothesis.statistic, hypothesis.dimensions));
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
std::vector<StationStories> TestedStations::every_station() {
  StationTester tester = adjustment_.tester();
  std::vector<StationStories> all;
  TouchSizes sizes;
  auto found = std::make_shared<Background>();
  for (int s = 0; s < adjustment_.station_count(); ++s) {
    adjustment_.select(tester, s);
    sizes.most_leverage = 0.0;
    all.push_back(tested_stories(tester, s, sizes));
    found->most_leverage.push_back(sizes.most_leverage);
  }
  found->robust_variance = robust_variance(sizes.deviates);
  found->best_left = found->robust_variance;
  background_ = found;
  for (StationStories& station : all) {
    found->best_left = std::min(found->best_left, judge_both(station));
  }
  for (StationStories& station : all) station = ranked(std::move(station), found->best_left);
  return all;
}

/// Judges both stories; the variance that the better of them would leave.
double TestedStations::judge_both(StationStories& stories) const {
  double best_left = background_->robust_variance;
  for (Hypothesis* hypothesis : {&stories.touch, &stories.whole}) {
    if (hypothesis->dimensions == 0) continue;
    const Scatter scatter = scatter_of(*hypothesis);
    *hypothesis = judged(std::move(*hypothesis), scatter, limits_.deviate);
    best_left = std::min(best_left, scatter.variance);
  }
  return best_left;
}

}  // namespace pivotrace

// Choosing whole visits: from the fractional design by rounding, adding and exchanging.
#pragma once

#include <functional>
#include <vector>

#include "plan/relaxed_design.h"
#include "plan/tour.h"

namespace pivotrace {

/// What is asked of every value, and what no plan can change.
struct Asked {
  Eigen::VectorXd scale;     ///< (K) U95 that counts as 1 [mm or rad]
  Eigen::VectorXd constant;  ///< (K) variance that no survey takes away
  Eigen::VectorXd bounds;  ///< half-widths of the bounded effects, of drift 0: it has no order yet
  double drift_mm = 0.0;   ///< that of drift
};

/// A set of visits under way. The first is where the program begins.
struct ChosenVisits {
  std::vector<int> candidates;
  /// Its first station is made a second time at the end.
  bool repeats_first = false;
  double measure = std::numeric_limits<double>::infinity();
  double minutes = 0.0;

  /// As they are visited, the repeated one included.
  std::vector<int> all() const;
};

/// Worst U95 / wanted of every value, the others counted a little: (mean of (U95 / scale)^20)^(1/20).
double measure_of(const Asked& asked, const VisitMaker& maker, const Eigen::VectorXd& variances,
                  const Eigen::MatrixXd& responses);

/// The `count` candidates worth most, in their order, and with them those worth as much as the last to a share of
/// `alike`: no machine keeps one twin and drops the other by rounding.
void keep_best(std::vector<int>& candidates, std::size_t count,
               const std::function<double(int)>& worth, double alike);

/// Weighs sets of visits against each other. Deterministic: candidates in their order, a later one must be
/// better by more than `margin`.
class VisitSearch {
 public:
  static constexpr double tie = 1e-7;
  /// By how much of it a measure has to be smaller than this one: `tie`, and more where a value is hardly
  /// determined, since rounding then grows with the square of the measure.
  static double margin(double measure);
  static double clearly_below(double measure);
  /// Every station is reached by a turn: two stays in a row at the same angles would be one, and so cost too much.
  static constexpr double minutes_to_stay = 5.0;

  VisitSearch(const Machine& machine, const CandidateSet& set, const CandidateRows& rows,
              const Asked& asked, const ProbingDistances& distances);

  /// Rounds of exchange before a set is taken as it is.
  static constexpr int most_rounds = 6;

  /// Candidates worth trying for exchange, in their order.
  void look_at(std::vector<int> candidates) {
    pool_ = std::move(candidates);
    worthy_.clear();
  }

  /// Never one stay right after another: the way is blocked.
  void keep_apart(int from_stay, int to_stay) { turns_(from_stay, to_stay) = minutes_to_stay; }

  /// Visits at even steps of the shares of a fractional design, beginning with `first_part` of a step.
  ChosenVisits rounded(const Eigen::VectorXd& share, double minutes, double first_part,
                       bool repeats_first);

  /// Adds what brings most per minute while it fits, and exchanges until nothing gets better.
  void improve(ChosenVisits& chosen, double minutes, int rounds = most_rounds);

  /// Order of short ways that keeps drift out of the values, within `minutes` where one is. Of `chosen.all()`.
  std::vector<int> in_order(const ChosenVisits& chosen, double minutes);

  /// The same order, begun with what makes the rest cheapest to find, by `exact_minutes`; as it is without them.
  /// `is_clear` has the last word on every order that is better.
  std::vector<int> begun_cheapest(
      std::vector<int> order, const ChosenVisits& chosen, double minutes,
      const std::function<bool(const std::vector<int>& order)>& is_clear);

  /// Largest U95 / scale, drift and the order of the visits left out.
  double worst_of(const ChosenVisits& chosen, const Eigen::VectorXd& scale);

  /// Measure without its worst visit, beside the measure: what a slipped station would leave.
  double measure_without_one(const ChosenVisits& chosen);

  /// Expected minutes of an order: its visits, its turns, and what else the last plan looked at took.
  double minutes_of_order(const std::vector<int>& order) const;
  /// A plan of this order really takes so long: finding places at first, proving turns.
  void learn_minutes(const std::vector<int>& order, double minutes);

  /// Candidates tried in the place of every visit in one round of exchange.
  std::size_t most_worthy = 200;
  /// Ways as short as moving single stays makes them, not only where some are blocked: room for more visits, but other
  /// valleys to end in. Neither is the better one on every machine.
  bool shortest_ways = false;
  /// Minutes of an order move by move, which knows what has to be found. Slow: for the last word.
  std::function<double(const std::vector<int>& order)> exact_minutes;
  /// No order takes less beside its visits and turns.
  double least_other_minutes = 0.0;
  /// Called between exchanges; false stops the search as soon as something complete is there.
  std::function<bool()> go_on;

 private:
  bool take(VisitSum& sum, const std::vector<int>& candidates) const;
  double evaluate(const ChosenVisits& chosen);
  double measure_of_sum() const;
  /// The sum of all but the visit there, which is made once. False where it has to be taken anew.
  bool take_without(const ChosenVisits& chosen, std::size_t place);
  int stay_of(int candidate) const;
  bool can_start(int candidate) const;
  std::vector<int> stays_of(const std::vector<int>& candidates) const;
  double turn_minutes(int from, int to) const;
  double touch_minutes(int candidate) const;
  int ways_to_avoid(const std::vector<int>& order) const;
  bool add_one(ChosenVisits& chosen, double minutes);
  void shorten_list(const ChosenVisits& chosen);
  bool exchange(ChosenVisits& chosen, std::size_t place, double minutes);
  void drop_until_short(ChosenVisits& chosen, double minutes);
  std::vector<int> shortest_tour(const ChosenVisits& chosen) const;
  double tour_minutes(const std::vector<int>& order) const;
  Insertion insertion_into(const std::vector<int>& tour) const;
  const Visit& doubled(int candidate);
  class OrderMeasure;
  double order_cost(double measure, double taken, double minutes,
                    const std::vector<int>& order) const;

  const CandidateSet& set_;
  const CandidateRows& rows_;
  const Asked& asked_;
  VisitSum sum_;
  VisitSum whole_;  ///< of `whole_of_`: what others are taken out of one by one
  std::vector<int> whole_of_;
  bool whole_is_fit_ = false;
  std::vector<int> pool_;
  std::vector<int> worthy_;     ///< of the pool, in this round of exchange
  Eigen::MatrixXd turns_;       ///< minutes from stay to stay
  double other_minutes_ = 0.5;  ///< beside visits and turns
  std::vector<Visit> doubled_;
  Eigen::VectorXd variances_;
  Eigen::MatrixXd responses_;
};

}  // namespace pivotrace

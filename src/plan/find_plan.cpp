#include "pivotrace/plan/find_plan.h"

#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <map>
#include <memory>
#include <numbers>
#include <numeric>
#include <set>
#include <tuple>

#include "base/length_text.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"
#include "pivotrace/results/statistics.h"
#include "pivotrace/survey/random_stream.h"
#include "plan/axis_range.h"
#include "plan/outcome.h"
#include "plan/proof.h"
#include "plan/visit_search.h"

namespace pivotrace {

namespace {

/// The minutes grow by this much at a time, or twice as much where no shortest plan is wanted; plans for more minutes
/// go through all shorter ones.
constexpr double minute_step = 0.25;
constexpr double first_minutes = 1.0;
/// The same beyond what is allowed, where only the shortest plan there is is wanted, and in long surveys, in shares of the
/// minutes.
constexpr double longer_by = 0.05;
constexpr double long_survey_minutes = 10.0;
constexpr double most_minutes = 60.0;
/// Minutes at which the search also starts anew from the fractional design of just those minutes.
constexpr double fresh_starts[] = {3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0};
/// Candidates worth this part of the best, per minute, are tried for exchange; no more than so many.
constexpr double least_worth = 0.45;
constexpr std::size_t most_tried = 5000;
/// How often a plan is cut down to the minutes once they are known exactly.
constexpr int most_attempts = 3;
/// Minutes that may be left over.
constexpr double room_for_more = 0.1;
/// After so many steps in a row without any plan that could run or tell every axis, more minutes change nothing
/// (common practice, no source).
constexpr int most_hopeless = 24;
/// Orders of one set of visits tried until the turns of one are clear.
constexpr int most_orders = 40;
/// And other visits instead of those whose ways are blocked.
constexpr int most_other_visits = 8;
/// Rounds in which values that a regular pattern knows better are asked for more, and what the worst value of
/// all may lose by it.
constexpr int most_rounds_beside_regular = 2;
constexpr double most_given_up = 1.08;
/// How far a search has come once its ladder stands, and what shaking adds; the rest is proof.
constexpr double part_of_ladder = 0.4;
constexpr double part_of_shakes = 0.3;
/// How hard is tried. Where bounds count every step takes several times as long, and plans of as much again get no
/// better. All measured by plan_efficiency and plan_growth.
struct Effort {
  int rounds_to_fit = 0;  ///< of exchange where a plan is made to fit its minutes
  int rungs = 0;          ///< last ones of the grid of minutes that are polished, and before them
  int steps = 0;          ///< last steps of the ladder
  int least_shakes = 0;   ///< of each of them, with either kind of ways
  int most_shakes = 0;    ///< the same where there are few candidates, that is below
  int shaken = 0;         ///< candidates times shakes
  std::size_t finished = 0;  ///< sets of each whose order is sought, whose prediction is made
  std::size_t worthy = 0;    ///< candidates tried in the place of a visit
};
constexpr Effort effort_without_bounds{VisitSearch::most_rounds, 3, 2, 4, 40, 2800, 5, 200};
constexpr Effort effort_with_bounds{1, 2, 1, 1, 2, 500, 2, 100};
constexpr Effort effort_of_advice{1, 1, 0, 0, 0, 0, 1, 100};
/// Visits a plan loses when it is shaken (common practice, no source).
constexpr int least_taken_out = 2;
constexpr int most_taken_out = 4;
/// Put in order and weighed exactly are those whose measure is no further from the best.
constexpr double worth_finishing = 1.005;
constexpr int design_iterations = 60;
constexpr double design_gap = 0.02;
/// Another set-up is advised where it makes the worst value this much smaller.
constexpr double worth_saying = 0.97;
/// Grid on which set-ups that reach further are tried.
constexpr double coarse_step_deg = 30.0;
/// Local optima of a step of the ladder that polishing goes on from.
constexpr std::size_t most_starts = 3;
/// From the local optima, and from what became of them once its minutes were known.
constexpr int rounds_of_polish = 2;
/// Rungs that are polished in long surveys: there whole visits come out more evenly.
constexpr int most_rungs_of_long = 2;
/// Fewer stations determine no axis with anything to spare (common practice, no source).
constexpr std::size_t least_visits = 4;

Problem cannot_plan(const std::string& what) {
  return {ProblemNumber::cannot_plan,
          what,
          {},
          "move the artefact or the obstacles, use a longer stylus, or leave that axis out with "
          "--axis"};
}

Expected<std::vector<int>> axes_to_measure(const Machine& machine,
                                           const std::vector<char>& letters) {
  std::vector<int> axes;
  Problems problems;
  for (const char letter : letters) {
    if (machine.rotary_index(letter) >= 0) continue;
    problems.push_back({ProblemNumber::unknown_name,
                        fmt::format("the machine has no axis {}", letter),
                        {},
                        "name one of the [[rotary]] axes of the machine file"});
  }
  for (int axis = static_cast<int>(machine.rotary.size()) - 1; axis >= 0; --axis) {
    const char letter = machine.rotary[axis].letter;
    if (!letters.empty() && std::ranges::find(letters, letter) == letters.end()) continue;
    if (measurable(machine, axis)) {
      axes.push_back(axis);
    } else {
      problems.push_back(cannot_plan(fmt::format("{}: no artefact rides on this axis", letter)));
    }
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return axes;
}

/// What one unit of every effect does to every value whatever is touched, (e x K); 0 where that depends on the
/// touches. An effect whose column is a combination of the unknowns' columns over all candidates moves those
/// unknowns and nothing else.
Eigen::MatrixXd responses_left(const CandidateRows& rows) {
  const Eigen::Index p = rows.maker.unknowns();
  const Eigen::Index e = rows.maker.effects();
  if (e == 0) return Eigen::MatrixXd(0, rows.maker.by_unknown().cols());
  Eigen::MatrixXd square = Eigen::MatrixXd::Zero(p, p);
  Eigen::MatrixXd cross = Eigen::MatrixXd::Zero(p, e);
  Eigen::VectorXd length = Eigen::VectorXd::Zero(e);
  for (const Visit& visit : rows.visits) {
    const auto by_unknown = visit.rows.leftCols(p);
    square += by_unknown.transpose() * by_unknown;
    cross += by_unknown.transpose() * visit.effects;
    length += visit.effects.colwise().squaredNorm().transpose();
  }
  // A direction nobody sees may be anything: a breath of a prior keeps it at 0.
  square.diagonal() *= 1.0 + 1e-13;
  square.diagonal().array() += 1e-6;
  const Eigen::MatrixXd moved = Eigen::LDLT<Eigen::MatrixXd>(square).solve(cross);
  Eigen::VectorXd left = Eigen::VectorXd::Zero(e);
  for (const Visit& visit : rows.visits) {
    left += (visit.effects - visit.rows.leftCols(p) * moved).colwise().squaredNorm().transpose();
  }
  Eigen::MatrixXd responses = -moved.transpose() * rows.maker.by_unknown();
  for (Eigen::Index k = 0; k < e; ++k) {
    constexpr double in_the_span = 1e-9;
    if (!(left[k] <= in_the_span * length[k])) responses.row(k).setZero();
  }
  return responses;
}

class Finder {
 public:
  Finder(const Machine& machine, const FindRequest& request)
      : machine_(machine), request_(request), state_(nominal_state(machine)) {}

  Expected<PlanOutcome> find();
  /// Of a plan that is there already.
  Expected<PlanOutcome> judge(const Plan& plan);
  Expected<std::vector<CertifiedVisit>> visits();

  /// The best plan a coarse search finds, without proof or advice.
  std::optional<PlanOutcome> find_coarsely();

  /// What ends a search instead of everything wanted.
  std::function<bool(const Plan&)> enough;
  double step_deg = grid_step_deg;  ///< of the grid

 private:
  struct Finished {
    ChosenVisits chosen;
    Plan plan;
    FitResult prediction;
    double worst = 0.0;  ///< largest U95 / scale
    double least_redundancy = 0.0;
    double behind = 0.0;  ///< regular pattern, see behind_regular()

    /// A value that a regular pattern knows better costs as much as what the worst value may lose to it.
    double merit() const { return behind > 1.0 ? worst * most_given_up * behind : worst; }
  };

  Problems prepare();
  void set_distances();
  void set_wanted();
  void set_costs();
  void set_first_minutes();
  bool first_turn_is_found() const;
  Problems refuse_short_arcs() const;
  double arc_deg(int axis) const;
  /// What a certificate counts of them.
  double counted_minutes(double minutes) const;
  DesignTask task(double minutes) const;
  void look_at_worthy(VisitSearch& search);
  VisitSearch search_for(const Asked& asked);
  std::vector<std::pair<int, int>> blocked_ways(const std::vector<int>& order);
  bool is_clear(VisitSearch& search, const std::vector<int>& order);
  std::vector<int> clear_order(VisitSearch& search, const ChosenVisits& chosen, double minutes);
  Plan plan_of(const std::vector<int>& order) const;
  const WrongTurn& wrong_turn(int before, int candidate);
  const std::vector<WayBetween>& ways_at(int candidate);
  const std::vector<TargetSight>& sights_at(int candidate);
  const VisitMoves& moves_at(int candidate, const ForeseenVisit& visit);
  double exact_minutes(const std::vector<int>& order, const Plan& plan);
  std::optional<Finished> finished(VisitSearch& search, const ChosenVisits& chosen, double minutes);
  bool is_sound(VisitSearch& search, const Finished& finished);
  bool arcs_are_long_enough(const Plan& plan) const;
  double worst_of(const FitResult& prediction, std::vector<WantedValue>& wanted) const;
  bool go_on(double part);
  bool is_enough(const Finished& done) const;
  /// Local optima at the minutes of a step of the ladder, with the shortest ways and with simple ones.
  using Starts = std::array<std::vector<ChosenVisits>, 2>;

  Problems climb(VisitSearch& search);
  Problems climb_to(double asked, VisitSearch& search);
  Problem no_plan_up_to(double minutes) const;
  void add_start(VisitSearch& search, double minutes, ChosenVisits& current);
  std::vector<double> rungs_below(double asked) const;
  void polish_between(double minutes, double next, const std::vector<double>& rungs,
                      const VisitSearch& search, const ChosenVisits& current);
  Starts starts_at(VisitSearch search, double minutes, const ChosenVisits& current);
  std::vector<ChosenVisits> starts_with_bias(VisitSearch& search, double minutes);
  void know_minutes(VisitSearch& search, const Finished& finished, double minutes);
  Finished polished(VisitSearch search, double minutes, const Starts& starts);
  void polish_from(std::vector<ChosenVisits> starts, VisitSearch& search, double minutes,
                   std::vector<ChosenVisits>& found, Finished& best);
  void shake(VisitSearch& search, double minutes, ChosenVisits chosen,
             std::vector<ChosenVisits>& found);
  void finish_best_of(std::vector<ChosenVisits> found, VisitSearch& search, double minutes,
                      Finished& best);
  bool finish(VisitSearch& search, double minutes, const ChosenVisits& chosen, Finished& best);
  Asked asked_beside_regular(const Finished& best) const;
  void keep_beside_regular(double minutes);
  std::optional<Finished> finished_within(VisitSearch& search, ChosenVisits chosen, double minutes,
                                          bool short_order);
  void learn_regular_pattern();
  double behind_regular(const FitResult& prediction) const;
  Certificate certificate(double minutes, double reached);
  std::optional<Gain> gain_of_more(VisitSearch& search, const Finished& best);
  void add_gains_of_set_up(const Finished& best, std::vector<Gain>& gains);
  std::optional<Gain> gain_of_moved(const Finished& best, int artefact,
                                    const Eigen::Vector3d& by_mm,
                                    const std::string& addition) const;
  std::optional<Gain> gain_of_reaching(const Finished& best, const Machine& machine,
                                       const std::string& addition);
  void add_gains_of_reach(const Finished& best, std::vector<Gain>& gains);
  std::vector<LeftOut> summary_of_left_out() const;

  const Machine& machine_;
  const FindRequest& request_;
  const Plan* judged_ = nullptr;
  MachineState state_;
  std::vector<int> axes_;
  Plan frame_;  ///< everything but the stations
  CandidateSet set_;
  std::unique_ptr<CandidateRows> rows_;
  std::vector<WantedValue> wanted_;
  Asked asked_;
  Effort effort_;
  std::vector<double> least_minutes_;  ///< per candidate, with the cheapest way in
  double cheapest_way_in_ = 0.0;
  double first_minutes_ = 0.0;  ///< that every survey takes before it can measure
  Eigen::VectorXd share_;
  std::vector<PredictedOutput> regular_;  ///< what a regular pattern of this purpose reaches
  std::vector<Finished> ladder_;
  std::vector<Finished> polished_;
  std::set<std::vector<int>> finished_before_;
  std::map<std::pair<int, int>, WrongTurn> wrong_turns_;  ///< from stay to candidate
  std::map<int, std::vector<WayBetween>> ways_at_;
  std::map<int, std::vector<TargetSight>> sights_at_;
  std::map<std::tuple<int, std::size_t, int>, VisitMoves> moves_at_;
  /// Why a way is not clear, from candidate to candidate.
  std::map<std::pair<int, int>, std::optional<std::string>> in_the_way_;
  std::set<std::pair<int, int>> blocked_;  ///< from stay to stay
  std::string why_not_;
  bool stopped_ = false;
  double part_ = 0.0;
};

void Finder::set_distances() {
  frame_.machine_name = machine_.name;
  frame_.purpose = request_.purpose;
  if (judged_ != nullptr) {
    frame_.feeds = judged_->feeds;
    frame_.distances = judged_->distances;
    return;
  }
  const double rough =
      request_.purpose == Purpose::commissioning || request_.purpose == Purpose::after_crash ? 3.0
                                                                                             : 1.0;
  frame_.distances.rough = request_.rough_mm.value_or(rough);
  frame_.distances.clearance = request_.clearance_mm.value_or(frame_.distances.clearance);
  const auto grids = angle_grids(machine_, axes_, frame_.distances, step_deg);
  frame_.distances.safe_height =
      safe_height_mm(machine_, state_, frame_.distances, corner_angles(grids));
}

void Finder::set_wanted() {
  const VisitMaker& maker = rows_->maker;
  const Eigen::MatrixXd left = responses_left(*rows_);
  const auto values = static_cast<Eigen::Index>(maker.names().size());
  asked_.bounds = maker.bounds();
  if (const int drift = maker.first_drift_effect(); drift >= 0) {
    auto widths = asked_.bounds.segment<3>(drift - maker.common_effects());
    asked_.drift_mm = widths[0];
    widths.setZero();
  }
  asked_.scale.resize(values);
  asked_.constant.resize(values);
  for (Eigen::Index k = 0; k < values; ++k) {
    WantedValue value;
    value.name = maker.names()[static_cast<std::size_t>(k)];
    value.wanted = is_angle(value.name) ? request_.angle_rad : request_.length_mm;
    for (const WantedU95& named : request_.within) {
      if (named.name == value.name) value.wanted = named.U95;
    }
    const Prospect least = maker.prospect(0.0, left.col(k), asked_.bounds);
    value.least = VisitMaker::expanded(least);
    asked_.constant[k] = least.u * least.u;
    asked_.scale[k] = value.scale();
    wanted_.push_back(value);
  }
  effort_ = (asked_.bounds.array() > 0.0).any() ? effort_with_bounds : effort_without_bounds;
}

void Finder::set_costs() {
  std::vector<double> way_in(set_.stays.size(), std::numeric_limits<double>::infinity());
  for (std::size_t i = 0; i < set_.stays.size(); ++i) {
    for (std::size_t j = 0; j < set_.stays.size(); ++j) {
      if (i == j) continue;
      const double seconds = turn_seconds(machine_, frame_.distances, set_.stays[j].angles_rad,
                                          set_.stays[i].angles_rad);
      way_in[i] = std::min(way_in[i], seconds / 60.0);
    }
  }
  for (const Candidate& candidate : set_.candidates) {
    const double way = way_in[static_cast<std::size_t>(candidate.stay)];
    least_minutes_.push_back(candidate.touch_minutes + way);
    cheapest_way_in_ = std::max(cheapest_way_in_, way);
  }
  set_first_minutes();
}

/// Whatever a survey begins with has to be found first, and so has what it goes on with once an axis has turned for
/// the first time. A finding pass makes every touch of the visit: the visits of fewest touches are the cheapest to
/// begin with.
void Finder::set_first_minutes() {
  Plan alone = frame_;
  double first = std::numeric_limits<double>::infinity();
  double pass = std::numeric_limits<double>::infinity();
  for (std::size_t c = 0; c < set_.candidates.size(); ++c) {
    const Candidate& candidate = set_.candidates[c];
    if (static_cast<int>(candidate.touches.size()) > set_.least_touches) continue;
    alone.stations.assign(1, set_.station(static_cast<int>(c)));
    first = std::min(first, minutes_of(machine_, alone) - candidate.touch_minutes);
    pass = std::min(pass, station_minutes(machine_, alone, 1) - candidate.touch_minutes);
  }
  first_minutes_ = std::isfinite(first) ? first : 0.0;
  if (std::isfinite(pass) && first_turn_is_found()) first_minutes_ += pass;
}

/// Whether a finding pass follows the first turn of an axis, however small: by `turn` from `angle`. Where the centre
/// is off by `rough`, and so is what it carries, the first station counts the centre a = 2 sin(angle / 2) times, and
/// a least-squares share of what it found leaves (1 + a) / (1 + a^2) of the two, or with another axis turned too no
/// less than that or 1; of it the turn shows 2 sin(turn / 2). Derived here. A flat sees one direction only.
bool Finder::first_turn_is_found() const {
  const bool flats = std::ranges::any_of(set_.candidates, [&](const Candidate& candidate) {
    const Stay& stay = set_.stays[static_cast<std::size_t>(candidate.stay)];
    const int artefact = stay.touches[static_cast<std::size_t>(candidate.touches.front())].artefact;
    return machine_.artefacts[static_cast<std::size_t>(artefact)].kind == ArtefactKind::flat;
  });
  double least_shown = std::numeric_limits<double>::infinity();
  for (std::size_t axis = 0; axis < machine_.rotary.size(); ++axis) {
    std::set<double> angles_rad;
    for (const Stay& stay : set_.stays) angles_rad.insert(stay.angles_rad[axis]);
    for (auto to = angles_rad.begin(); to != angles_rad.end(); ++to) {
      if (to == angles_rad.begin()) continue;
      const double turn_rad = *to - *std::prev(to);
      for (const double from_rad : {*std::prev(to), *to}) {
        const double a = std::abs(2.0 * std::sin(0.5 * from_rad));
        const double left = std::min(1.0, (1.0 + a) / (1.0 + a * a));
        least_shown = std::min(least_shown, left * std::abs(2.0 * std::sin(0.5 * turn_rad)));
      }
    }
  }
  const double off_mm = least_shown * frame_.distances.rough;
  return !flats && off_mm > sure_share_of_limit * frame_.distances.limit;
}

double Finder::arc_deg(int axis) const {
  double low = 1e9, high = -1e9;
  for (const Stay& stay : set_.stays) {
    low = std::min(low, deg_from_rad(stay.angles_rad[axis]));
    high = std::max(high, deg_from_rad(stay.angles_rad[axis]));
  }
  return std::max(0.0, high - low);
}

Problems Finder::refuse_short_arcs() const {
  std::string reasons;
  for (const int axis : axes_) {
    if (arc_deg(axis) > 0.0) continue;
    reasons += fmt::format("{}{}: stations at fewer than two angles can be reached",
                           reasons.empty() ? "" : ". ", machine_.rotary[axis].letter);
  }
  if (reasons.empty() && set_.candidates.size() >= least_visits) return {};
  // A few of the reasons say what is in the way; hundreds of angles say no more.
  constexpr std::size_t reasons_shown = 6;
  std::vector<std::string> seen;
  for (const LeftOut& left : set_.left_out) {
    if (seen.size() == reasons_shown) break;
    if (std::ranges::find(seen, left.reason) != seen.end()) continue;
    seen.push_back(left.reason);
    reasons += fmt::format("{}{}: {}", reasons.empty() ? "" : ". ", left.station, left.reason);
  }
  return {cannot_plan("too few stations can be reached. " + reasons)};
}

Problems Finder::prepare() {
  Expected<std::vector<int>> axes = axes_to_measure(machine_, request_.axes);
  if (!axes) return axes.error();
  axes_ = *axes;
  if (axes_.empty()) return {cannot_plan("no axis can be measured: no artefact rides on one")};
  set_distances();
  const auto tick = [this] { go_on(0.0); };
  set_ = find_candidates(machine_, axes_, frame_.feeds, frame_.distances, step_deg, tick);
  if (Problems short_arcs = refuse_short_arcs(); !short_arcs.empty()) return short_arcs;
  go_on(0.0);
  rows_ = std::make_unique<CandidateRows>(rows_of(machine_, set_, frame_.distances));
  go_on(0.0);
  set_wanted();
  set_costs();
  go_on(0.0);
  return {};
}

double Finder::counted_minutes(double minutes) const {
  return std::max(0.5 * minutes, minutes + cheapest_way_in_ - first_minutes_);
}

DesignTask Finder::task(double minutes) const {
  return {rows_->visits,
          rows_->maker.by_unknown(),
          {rows_->maker.known_before()},
          rows_->maker.shared(),
          least_minutes_,
          counted_minutes(minutes),
          asked_.scale,
          asked_.constant,
          Eigen::VectorXd::Ones(static_cast<Eigen::Index>(rows_->maker.shared().size()))};
}

/// What is worth most per minute in short and in long surveys.
void Finder::look_at_worthy(VisitSearch& search) {
  Eigen::VectorXd worth = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(set_.candidates.size()));
  for (const double minutes : {4.0, 8.0}) {
    const RelaxedDesign design =
        relaxed_design(task(minutes), design_iterations, design_gap, share_);
    worth = worth.cwiseMax(design.worth);
    if (minutes == 4.0) share_ = design.share;
  }
  std::vector<int> tried(set_.candidates.size());
  std::iota(tried.begin(), tried.end(), 0);
  const auto worthy =
      std::count_if(worth.begin(), worth.end(), [](double w) { return w >= least_worth; });
  constexpr std::size_t least_tried = 100;
  keep_best(
      tried, std::clamp(static_cast<std::size_t>(worthy), least_tried, most_tried),
      [&](int c) { return worth[c]; }, 1e-6);
  search.look_at(std::move(tried));
}

double Finder::worst_of(const FitResult& prediction, std::vector<WantedValue>& wanted) const {
  double worst = 0.0;
  const std::vector<PredictedOutput> outputs = predicted_outputs(prediction);
  for (WantedValue& value : wanted) {
    const auto output = std::ranges::find(outputs, value.name, &PredictedOutput::name);
    if (output == outputs.end()) return std::numeric_limits<double>::infinity();
    value.reached = output->U95_absolute;
    worst = std::max(worst, value.reached / value.scale());
  }
  return worst;
}

/// As the certificate counts: both sides with the normal factor.
double worst_with_normal_factor(const FitResult& prediction,
                                const std::vector<WantedValue>& wanted) {
  double worst = 0.0;
  for (const AxisResult& axis : prediction.axes) {
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *list) {
        const auto value = std::ranges::find(wanted, named.name, &WantedValue::name);
        if (value == wanted.end()) continue;
        const Prospect prospect{named.estimate.u_absolute, named.estimate.B_absolute};
        worst = std::max(worst, VisitMaker::expanded(prospect) / value->scale());
      }
    }
  }
  return worst;
}

double least_redundancy_in(const FitResult& prediction) {
  double least = 1.0;
  for (const TouchResult& touch : prediction.touches) least = std::min(least, touch.redundancy);
  return least;
}

bool Finder::arcs_are_long_enough(const Plan& plan) const {
  for (const int axis : axes_) {
    double low = 1e9, high = -1e9;
    for (const PlannedStation& station : plan.stations) {
      low = std::min(low, deg_from_rad(station.angles_rad[axis]));
      high = std::max(high, deg_from_rad(station.angles_rad[axis]));
    }
    if (high - low < std::min(least_arc_deg, 0.9 * arc_deg(axis)) - 1e-9) return false;
  }
  return true;
}

/// The candidates between which an order goes by a way that is not clear.
std::vector<std::pair<int, int>> Finder::blocked_ways(const std::vector<int>& order) {
  std::vector<std::pair<int, int>> blocked;
  for (std::size_t k = 1; k < order.size(); ++k) {
    const std::pair<int, int> way{order[k - 1], order[k]};
    auto known = in_the_way_.find(way);
    if (known == in_the_way_.end()) {
      const PlannedStation from = set_.station(way.first);
      const PlannedStation to = set_.station(way.second);
      known =
          in_the_way_.insert({way, objection_to_way(machine_, state_, frame_.distances, from, to)})
              .first;
    }
    if (!known->second) continue;
    blocked.push_back(way);
    why_not_ = *known->second;
  }
  return blocked;
}

/// Learns the ways of an order that are not clear; whether all are.
bool Finder::is_clear(VisitSearch& search, const std::vector<int>& order) {
  const std::vector<std::pair<int, int>> blocked = blocked_ways(order);
  for (const auto& [from, to] : blocked) {
    const int from_stay = set_.candidates[static_cast<std::size_t>(from)].stay;
    const int to_stay = set_.candidates[static_cast<std::size_t>(to)].stay;
    blocked_.insert({from_stay, to_stay});
    search.keep_apart(from_stay, to_stay);
  }
  return blocked.empty();
}

/// An order all of whose ways are clear; empty where none was found.
std::vector<int> Finder::clear_order(VisitSearch& search, const ChosenVisits& chosen,
                                     double minutes) {
  for (int attempt = 0; attempt < most_orders; ++attempt) {
    std::vector<int> order = search.in_order(chosen, minutes);
    if (!is_clear(search, order)) continue;
    return search.begun_cheapest(std::move(order), chosen, minutes,
                                 [&](const std::vector<int>& o) { return is_clear(search, o); });
  }
  return {};
}

const WrongTurn& Finder::wrong_turn(int before, int candidate) {
  const int stay = set_.candidates[static_cast<std::size_t>(before)].stay;
  const auto known = wrong_turns_.find({stay, candidate});
  if (known != wrong_turns_.end()) return known->second;
  const WrongTurn made = wrong_turn_at(machine_, state_, frame_.distances,
                                       set_.stays[static_cast<std::size_t>(stay)].angles_rad,
                                       set_.station(candidate), true);
  return wrong_turns_.insert({{stay, candidate}, made}).first->second;
}

const std::vector<WayBetween>& Finder::ways_at(int candidate) {
  const auto known = ways_at_.find(candidate);
  if (known != ways_at_.end()) return known->second;
  return ways_at_
      .insert(
          {candidate, ways_between(machine_, state_, frame_.distances, set_.station(candidate))})
      .first->second;
}

const std::vector<TargetSight>& Finder::sights_at(int candidate) {
  const auto known = sights_at_.find(candidate);
  if (known != sights_at_.end()) return known->second;
  return sights_at_
      .insert({candidate,
               pivotrace::sights_at(machine_, state_, frame_.distances, set_.station(candidate))})
      .first->second;
}

const VisitMoves& Finder::moves_at(int candidate, const ForeseenVisit& visit) {
  const std::tuple<int, std::size_t, int> key{candidate, visit.first_touch, visit.finding_passes};
  const auto known = moves_at_.find(key);
  if (known != moves_at_.end()) return known->second;
  Plan alone = frame_;
  alone.stations.assign(1, set_.station(candidate));
  return moves_at_.insert({key, visit_moves(machine_, alone, 0, visit, ways_at(candidate))})
      .first->second;
}

/// Of the plan of this order.
double Finder::exact_minutes(const std::vector<int>& order, const Plan& plan) {
  KnownStations known;
  known.wrong_turn = [&](std::size_t station) -> const WrongTurn& {
    return wrong_turn(order[station - 1], order[station]);
  };
  known.sights = [&](std::size_t station) -> const std::vector<TargetSight>& {
    return sights_at(order[station]);
  };
  known.moves = [&](std::size_t station, const ForeseenVisit& visit) -> const VisitMoves& {
    return moves_at(order[station], visit);
  };
  return minutes_of(machine_, plan, known);
}

Plan Finder::plan_of(const std::vector<int>& order) const {
  Plan plan = frame_;
  for (const int candidate : order) {
    plan.stations.push_back(set_.station(candidate));
    plan.stations.back().label = std::to_string(plan.stations.size());
  }
  plan.self_find = request_.self_find && !objection_to_self_find(machine_, state_, plan);
  return plan;
}

VisitSearch Finder::search_for(const Asked& asked) {
  VisitSearch search(machine_, set_, *rows_, asked, frame_.distances);
  for (const auto& [from, to] : blocked_) search.keep_apart(from, to);
  search.most_worthy = effort_.worthy;
  look_at_worthy(search);
  return search;
}

std::optional<Finder::Finished> Finder::finished(VisitSearch& search, const ChosenVisits& chosen,
                                                 double minutes) {
  Finished done;
  done.chosen = chosen;
  const std::vector<int> order = clear_order(search, chosen, minutes);
  if (order.empty()) return std::nullopt;
  done.plan = plan_of(order);
  done.plan.minutes = exact_minutes(order, done.plan);
  search.learn_minutes(order, done.plan.minutes);
  Expected<FitResult> prediction = predict_plan(machine_, done.plan);
  if (!prediction) {
    why_not_ = prediction.error().front().what;
    return std::nullopt;
  }
  done.prediction = std::move(*prediction);
  std::vector<WantedValue> wanted = wanted_;
  done.worst = worst_of(done.prediction, wanted);
  done.least_redundancy = least_redundancy_in(done.prediction);
  done.behind = behind_regular(done.prediction);
  return done;
}

namespace {

/// A pin on its axis looks the same whichever way it turns.
bool sense_can_show(const Machine& machine, const AxisResult& axis) {
  if (axis.side == AxisSide::tool) return true;
  constexpr double off_axis_mm = 1.0;
  return std::ranges::any_of(machine.artefacts, [&](const Artefact& artefact) {
    return artefact.carried_by >= machine.rotary_index(axis.letter) &&
           perpendicular_from_line(axis.nominal, artefact.at_mm).norm() > off_axis_mm;
  });
}

}  // namespace

/// Robust by rule, not by luck.
bool Finder::is_sound(VisitSearch& search, const Finished& finished) {
  if (finished.least_redundancy < least_redundancy_of_touch) {
    why_not_ = "a touch is not checked by others";
    return false;
  }
  if (!arcs_are_long_enough(finished.plan)) {
    why_not_ = "an axis is turned too little";
    return false;
  }
  const double without = search.measure_without_one(finished.chosen);
  if (!(without <= most_without_one_station * finished.chosen.measure)) {
    why_not_ = "a station that slipped would not show";
    return false;
  }
  const Expected<FitResult> fit = fit_survey(machine_, nominal_survey(machine_, finished.plan));
  if (!fit) {
    why_not_ = fit.error().front().what;
    return false;
  }
  for (const AxisResult& axis : fit->axes) {
    if (axis.estimated && !axis.turn_confirmed && sense_can_show(machine_, axis)) {
      why_not_ = fmt::format("the turn sense of {} would not be proven", axis.letter);
      return false;
    }
  }
  return true;
}

bool Finder::go_on(double part) {
  part_ = std::max(part_, std::min(1.0, part));
  if (request_.progress && !request_.progress(part_)) stopped_ = true;
  return !stopped_;
}

void Finder::add_start(VisitSearch& search, double minutes, ChosenVisits& current) {
  // A drift that nobody bounds is bounded by coming back to where the survey began.
  const bool repeats = !machine_.bounds.drift_per_run_mm.has_value();
  const RelaxedDesign design = relaxed_design(task(minutes), design_iterations, design_gap, share_);
  for (const double first_part : {0.25, 0.75}) {
    ChosenVisits start = search.rounded(design.share, minutes, first_part, repeats);
    if (start.candidates.size() < least_visits || start.minutes > minutes) continue;
    search.improve(start, minutes);
    if (start.measure < VisitSearch::clearly_below(current.measure)) current = std::move(start);
  }
}

/// To order sets by: a difference of rounding is none.
float roughly_measured(const ChosenVisits& chosen) { return static_cast<float>(chosen.measure); }

bool Finder::is_enough(const Finished& done) const {
  return enough ? enough(done.plan) : done.worst <= 1.0;
}

/// Plans are polished at minutes of this grid alone, so that those of neighbouring requests are the same ones.
double grid_of_minutes(double minutes) {
  if (minutes < long_survey_minutes) return 0.1;
  return minutes < 2.0 * long_survey_minutes ? 0.2 : 0.5;
}

/// The last minutes of the grid that are allowed.
double last_on_grid(double minutes) {
  const double grid = grid_of_minutes(minutes);
  return std::round(std::floor(minutes / grid + 1e-6) * grid * 10.0) / 10.0;
}

Problems Finder::climb(VisitSearch& search) {
  learn_regular_pattern();
  const double asked = std::max(first_minutes, last_on_grid(request_.minutes));
  Problems problems = climb_to(asked, search);
  if (ladder_.empty()) return problems;
  ladder_.back().behind = behind_regular(ladder_.back().prediction);
  for (Finished& plan : polished_) {
    if (plan.merit() < ladder_.back().merit()) ladder_.push_back(std::move(plan));
  }
  if (!polished_.empty()) keep_beside_regular(asked);
  return {};
}

/// The minutes grow step by step; every step begins with what the one before it found. What is found on the way does
/// not depend on how far it goes.
Problems Finder::climb_to(double asked, VisitSearch& search) {
  search.shortest_ways = true;
  ChosenVisits current;
  const double step = request_.stop_when_reached ? minute_step : 2.0 * minute_step;
  const double most = std::max(most_minutes, asked);
  const std::vector<double> rungs = rungs_below(asked);
  std::size_t next_fresh = 0;
  int hopeless = 0;
  double next = first_minutes;
  for (double minutes = next; minutes <= most; minutes = next) {
    next += minutes <= std::min(asked, long_survey_minutes) ? step
                                                            : std::max(step, longer_by * minutes);
    const bool allowed = minutes <= asked + 1e-9;
    if (!allowed && !ladder_.empty()) break;
    if (!ladder_.empty() && !go_on(part_of_ladder * minutes / asked)) return {};
    const bool fresh = next_fresh < std::size(fresh_starts) && minutes >= fresh_starts[next_fresh];
    if (fresh) ++next_fresh;
    if (current.candidates.empty() || fresh) add_start(search, minutes, current);
    if (current.candidates.empty()) continue;
    search.improve(current, minutes);
    std::optional<Finished> done = finished_within(search, current, minutes, false);
    hopeless = done ? 0 : hopeless + 1;
    if (ladder_.empty() && hopeless >= most_hopeless) return {no_plan_up_to(minutes)};
    const bool better =
        done && (ladder_.empty() || done->worst < ladder_.back().worst * (1.0 - 1e-9));
    if (better && is_sound(search, *done)) {
      ladder_.push_back(std::move(*done));
      if (request_.stop_when_reached && is_enough(ladder_.back())) return {};
    }
    if (!ladder_.empty()) polish_between(minutes, next, rungs, search, current);
  }
  return {no_plan_up_to(most_minutes)};
}

Problem Finder::no_plan_up_to(double minutes) const {
  return cannot_plan(fmt::format(
      "no plan of up to {:.0f} minutes determines every axis and checks every touch: {}", minutes,
      why_not_));
}

/// What is asked for, and of values that a regular pattern knows better than this plan would, so much more.
Asked Finder::asked_beside_regular(const Finished& best) const {
  Asked asked = asked_;
  for (std::size_t k = 0; k < wanted_.size(); ++k) {
    const auto value = std::ranges::find(regular_, wanted_[k].name, &PredictedOutput::name);
    if (value == regular_.end()) continue;
    double& scale = asked.scale[static_cast<Eigen::Index>(k)];
    scale = std::min(scale, value->U95_absolute / best.worst);
  }
  return asked;
}

/// Minutes at which plans are polished: the last rungs of the grid, and before them the last steps of the ladder.
std::vector<double> Finder::rungs_below(double asked) const {
  const double grid = grid_of_minutes(asked);
  const int last =
      asked < long_survey_minutes ? effort_.rungs : std::min(effort_.rungs, most_rungs_of_long);
  std::vector<double> rungs;
  for (int k = 0; k < last; ++k) rungs.push_back(asked - k * grid);
  const double step = 2.0 * minute_step;
  double on_step = std::floor((rungs.back() - 1e-6) / step) * step;
  for (int k = 0; k < effort_.steps; ++k, on_step -= step) rungs.push_back(on_step);
  std::reverse(rungs.begin(), rungs.end());
  return rungs;
}

/// Those that lie between two steps of the ladder. Whole visits come out evenly at some minutes and not at others: a
/// plan for less time may be the best there is.
void Finder::polish_between(double minutes, double next, const std::vector<double>& rungs,
                            const VisitSearch& search, const ChosenVisits& current) {
  std::optional<Starts> starts;
  for (const double rung : rungs) {
    if (rung < minutes - 1e-9 || rung >= next - 1e-9) continue;
    if (ladder_.back().plan.minutes > rung + 1e-9) continue;
    if (!starts) starts = starts_at(search, minutes, current);
    polished_.push_back(polished(search, rung, *starts));
    const double part = static_cast<double>(polished_.size()) / static_cast<double>(rungs.size());
    if (!go_on(part_of_ladder + part_of_shakes * part)) return;
  }
}

/// Minutes of an order move by move from now on; what else a plan takes as that plan has it.
void Finder::know_minutes(VisitSearch& search, const Finished& finished, double minutes) {
  search.exact_minutes = [this](const std::vector<int>& order) {
    return exact_minutes(order, plan_of(order));
  };
  search.least_other_minutes = first_minutes_;
  search.learn_minutes(search.in_order(finished.chosen, minutes), finished.plan.minutes);
}

/// From the design that counts the bias of every visit, and from the best plan so far.
Finder::Starts Finder::starts_at(VisitSearch search, double minutes, const ChosenVisits& current) {
  know_minutes(search, ladder_.back(), minutes);
  std::vector<ChosenVisits> starts = starts_with_bias(search, minutes);
  starts.push_back(current);
  starts.push_back(ladder_.back().chosen);
  Starts improved{starts, starts};
  for (std::size_t kind = 0; kind < improved.size(); ++kind) {
    search.shortest_ways = kind == 0;
    for (ChosenVisits& start : improved[kind]) search.improve(start, minutes);
    std::ranges::stable_sort(improved[kind], {}, roughly_measured);
    improved[kind].resize(std::min(improved[kind].size(), most_starts));
  }
  return improved;
}

/// The best plan of these minutes, whatever was found at others: `search` is a copy, so are the ways known to be blocked.
Finder::Finished Finder::polished(VisitSearch search, double minutes, const Starts& starts) {
  const std::set<std::pair<int, int>> blocked = blocked_;
  finished_before_.clear();
  Finished best = ladder_.back();
  best.behind = behind_regular(best.prediction);
  for (int round = 0; round < rounds_of_polish; ++round) {
    know_minutes(search, best, minutes);
    const std::vector<ChosenVisits> so_far = {best.chosen};
    std::vector<ChosenVisits> found;
    for (std::size_t kind = 0; kind < starts.size(); ++kind) {
      search.shortest_ways = kind == 0;
      polish_from(round == 0 ? starts[kind] : so_far, search, minutes, found, best);
    }
    finish_best_of(std::move(found), search, minutes, best);
  }
  blocked_ = blocked;
  return best;
}

/// A named purpose gives no value worse than the regular pattern for it does, where minutes allow.
void Finder::keep_beside_regular(double minutes) {
  for (int round = 0; round < most_rounds_beside_regular && go_on(part_of_ladder); ++round) {
    Finished best = ladder_.back();
    if (best.behind <= 1.0 || best.plan.minutes > minutes + 1e-9) return;
    finished_before_.clear();
    const Asked asked = asked_beside_regular(best);
    VisitSearch search = search_for(asked);
    search.go_on = [this] { return go_on(part_of_ladder); };
    know_minutes(search, best, minutes);
    std::vector<ChosenVisits> found;
    for (const bool shortest : {true, false}) {
      search.shortest_ways = shortest;
      polish_from({best.chosen}, search, minutes, found, best);
    }
    finish_best_of(std::move(found), search, minutes, best);
    if (best.merit() < ladder_.back().merit()) ladder_.push_back(std::move(best));
  }
}

/// With the search's kind of ways: what is worth finishing joins `found`.
void Finder::polish_from(std::vector<ChosenVisits> starts, VisitSearch& search, double minutes,
                         std::vector<ChosenVisits>& found, Finished& best) {
  for (ChosenVisits& start : starts) search.improve(start, minutes);
  std::ranges::stable_sort(starts, {}, roughly_measured);
  // At once: it tells the search what else a plan takes.
  finish(search, minutes, starts.front(), best);
  for (const ChosenVisits& start : starts) {
    if (start.measure <= worth_finishing * starts.front().measure) found.push_back(start);
  }
  shake(search, minutes, starts.front(), found);
}

std::vector<ChosenVisits> Finder::starts_with_bias(VisitSearch& search, double minutes) {
  const bool repeats = !machine_.bounds.drift_per_run_mm.has_value();
  const Eigen::VectorXd share =
      share_with_bias({*rows_, least_minutes_, counted_minutes(minutes), wanted_, 0.0, {}}, share_);
  std::vector<ChosenVisits> starts;
  for (const double first_part : {0.1, 0.35, 0.6, 0.85}) {
    ChosenVisits start = search.rounded(share, minutes, first_part, repeats);
    if (start.candidates.size() < least_visits || start.minutes > minutes) continue;
    starts.push_back(std::move(start));
  }
  return starts;
}

/// Takes a few visits out and fills up anew, again and again: out of the valley where exchange ends. The same
/// ones on every machine.
void Finder::shake(VisitSearch& search, double minutes, ChosenVisits chosen,
                   std::vector<ChosenVisits>& found) {
  RandomStream random(1);
  const int times = std::clamp(effort_.shaken / static_cast<int>(set_.candidates.size()),
                               effort_.least_shakes, effort_.most_shakes);
  for (int k = 0; k < times && go_on(part_of_ladder); ++k) {
    const int taken_out = least_taken_out + k % (most_taken_out - least_taken_out + 1);
    ChosenVisits other = chosen;
    for (int out = 0; out < taken_out && other.candidates.size() > least_visits; ++out) {
      const auto others = static_cast<double>(other.candidates.size() - 1);
      const auto at = 1 + static_cast<std::ptrdiff_t>(random.uniform() * others);
      other.candidates.erase(other.candidates.begin() + at);
    }
    search.improve(other, minutes);
    if (other.measure <= worth_finishing * chosen.measure) found.push_back(other);
    if (other.measure < VisitSearch::clearly_below(chosen.measure)) chosen = std::move(other);
  }
}

/// The few that promise most.
void Finder::finish_best_of(std::vector<ChosenVisits> found, VisitSearch& search, double minutes,
                            Finished& best) {
  std::ranges::stable_sort(found, {}, roughly_measured);
  std::size_t finished = 0;
  for (const ChosenVisits& chosen : found) {
    if (chosen.measure > worth_finishing * found.front().measure) return;
    finished += finish(search, minutes, chosen, best) ? 1 : 0;
    if (finished == effort_.finished) return;
  }
}

/// Takes its place where it is better, in time and sound: in the shortest order that still fits, and with fewer
/// visits in the order that keeps most drift out. Whether it was looked at.
bool Finder::finish(VisitSearch& search, double minutes, const ChosenVisits& chosen,
                    Finished& best) {
  std::vector<int> visits = chosen.candidates;
  std::ranges::sort(visits);
  if (!finished_before_.insert(std::move(visits)).second) return false;
  const auto worst = [&](const ChosenVisits& c) { return search.worst_of(c, asked_.scale); };
  // No order makes up for that, but where the best is behind the regular pattern a set may be worth what it gives up.
  if (best.behind <= 1.0 && worst(chosen) > worth_finishing * worst(best.chosen)) {
    return false;
  }
  for (const bool short_order : {true, false}) {
    if (!short_order && asked_.drift_mm == 0.0) break;  // one order is as good as another
    std::optional<Finished> done = finished_within(search, chosen, minutes, short_order);
    if (!done || !(done->merit() < best.merit() * (1.0 - 1e-9))) continue;
    if (is_sound(search, *done)) best = std::move(*done);
  }
  return true;
}

/// Cut down until its exact minutes fit, filled up where they leave room: what has to be found, and so the minutes,
/// depends on the order.
std::optional<Finder::Finished> Finder::finished_within(VisitSearch& search, ChosenVisits chosen,
                                                        double minutes, bool short_order) {
  std::optional<Finished> best;
  double allowed = minutes;
  int other_visits = 0;
  for (int attempt = 0; attempt < most_attempts;) {
    const std::size_t blocked_before = blocked_.size();
    std::optional<Finished> done = finished(search, chosen, short_order ? allowed : most_minutes);
    if (!done) {
      // Other visits may have ways between them that are clear.
      if (blocked_.size() == blocked_before || ++other_visits > most_other_visits) break;
      search.improve(chosen, allowed, effort_.rounds_to_fit);
      continue;
    }
    ++attempt;
    const double left = minutes - done->plan.minutes;
    if (left < -1e-9) {
      allowed += left;
    } else {
      if (!best || done->merit() < best->merit() * (1.0 - 1e-9)) best = std::move(*done);
      if (left < room_for_more) break;
      allowed = minutes;
    }
    const double before = chosen.measure;
    search.improve(chosen, allowed, effort_.rounds_to_fit);
    if (left > 0.0 && !(chosen.measure < VisitSearch::clearly_below(before))) break;
  }
  return best;
}

/// A pattern for a named purpose.
void Finder::learn_regular_pattern() {
  if (request_.purpose == Purpose::minutes || !request_.within.empty()) return;
  PlanRequest pattern;
  pattern.purpose = request_.purpose;
  pattern.axes = request_.axes;
  const Expected<PlanOutcome> regular = make_plan(machine_, pattern);
  if (regular) regular_ = regular->plan.predicted;
}

/// How far the worst value is beyond what the regular pattern gives it, 1: not at all.
double Finder::behind_regular(const FitResult& prediction) const {
  double behind = 0.0;
  for (const PredictedOutput& now : predicted_outputs(prediction)) {
    const auto then = std::ranges::find(regular_, now.name, &PredictedOutput::name);
    if (then == regular_.end()) continue;
    behind = std::max(behind, now.U95_absolute / then->U95_absolute);
  }
  return behind;
}

Certificate Finder::certificate(double minutes, double reached) {
  Certificate proof;
  proof.minutes = minutes;
  proof.candidates = static_cast<int>(set_.candidates.size());
  for (const AxisGrid& grid : set_.grids) proof.step_deg = std::max(proof.step_deg, grid.step_deg);
  proof.counted_minutes = counted_minutes(minutes);
  prove({*rows_, least_minutes_, proof.counted_minutes, wanted_, reached,
         [this] { go_on(part_of_ladder + part_of_shakes); }},
        share_, proof);
  return proof;
}

/// What another minute would buy.
std::optional<Gain> Finder::gain_of_more(VisitSearch& search, const Finished& best) {
  ChosenVisits more = best.chosen;
  const double minutes = best.plan.minutes + 1.0;
  search.improve(more, minutes);
  const std::optional<Finished> done = finished(search, more, minutes);
  if (!done || !(done->worst < best.worst)) return std::nullopt;
  return Gain{"one more minute", done->plan.minutes - best.plan.minutes,
              predicted_outputs(done->prediction)};
}

/// The same visits with an artefact set up elsewhere, if it can be reached there.
std::optional<Gain> Finder::gain_of_moved(const Finished& best, int artefact,
                                          const Eigen::Vector3d& by_mm,
                                          const std::string& addition) const {
  Machine moved = machine_;
  moved.artefacts[static_cast<std::size_t>(artefact)].at_mm += by_mm;
  const Expected<FitResult> prediction = predict_plan(moved, best.plan);
  if (!prediction) return std::nullopt;
  std::vector<WantedValue> wanted = wanted_;
  if (!(worst_of(*prediction, wanted) < worth_saying * best.worst)) return std::nullopt;
  return Gain{addition, minutes_of(moved, best.plan) - best.plan.minutes,
              predicted_outputs(*prediction)};
}

/// What another set-up would buy: a round length in the unit of the machine file.
void Finder::add_gains_of_set_up(const Finished& best, std::vector<Gain>& gains) {
  const double by_mm = machine_.inch ? mm_per_inch : 30.0;
  const std::string by = round_length_text(by_mm, machine_.inch);
  for (std::size_t a = 0; a < machine_.artefacts.size(); ++a) {
    const Artefact& artefact = machine_.artefacts[a];
    if (artefact.kind == ArtefactKind::flat || artefact.carried_by < 0) continue;
    const int index = static_cast<int>(a);
    const Line& line = state_.axis_lines[static_cast<std::size_t>(artefact.carried_by)];
    const Eigen::Vector3d out = perpendicular_from_line(line, artefact.at_mm);
    if (auto gain = gain_of_moved(best, index, by_mm * Eigen::Vector3d::UnitZ(),
                                  fmt::format("{} {} higher", artefact.name, by))) {
      gains.push_back(std::move(*gain));
    }
    if (out.norm() < 1.0) continue;
    if (auto gain = gain_of_moved(
            best, index, by_mm * out.normalized(),
            fmt::format("{} {} further out from {}", artefact.name, by,
                        machine_.rotary[static_cast<std::size_t>(artefact.carried_by)].letter))) {
      gains.push_back(std::move(*gain));
    }
  }
  if (auto gain = gain_of_second_ball(machine_, best.plan)) gains.push_back(std::move(*gain));
  if (!set_.left_out.empty()) add_gains_of_reach(best, gains);
}

/// The same minutes searched coarsely with what reaches further.
std::optional<Gain> Finder::gain_of_reaching(const Finished& best, const Machine& machine,
                                             const std::string& addition) {
  FindRequest request = request_;
  request.minutes = best.plan.minutes;
  request.purpose = Purpose::minutes;
  request.rough_mm = best.plan.distances.rough;
  request.progress = [this](double) { return go_on(1.0); };
  Finder finder(machine, request);
  finder.step_deg = coarse_step_deg;
  std::optional<PlanOutcome> outcome = finder.find_coarsely();
  if (!outcome || outcome->plan.minutes > best.plan.minutes + 0.5 * minute_step)
    return std::nullopt;
  std::vector<WantedValue> wanted = wanted_;
  if (!(worst_of(outcome->prediction, wanted) < worth_saying * best.worst)) return std::nullopt;
  return Gain{addition, outcome->plan.minutes - best.plan.minutes,
              predicted_outputs(outcome->prediction)};
}

/// Where angles are out of reach: a longer stylus, and the stem of a ball from its other side.
void Finder::add_gains_of_reach(const Finished& best, std::vector<Gain>& gains) {
  const auto add = [&](const Machine& machine, const std::string& addition) {
    if (!go_on(1.0)) return;
    if (auto gain = gain_of_reaching(best, machine, addition)) gains.push_back(std::move(*gain));
  };
  if (machine_.probe.stylus_length_mm) {
    Machine longer = machine_;
    const double by_mm = machine_.inch ? mm_per_inch : 30.0;
    longer.probe.stylus_length_mm = *machine_.probe.stylus_length_mm + by_mm;
    if (longer.probe.gauge_length_mm) *longer.probe.gauge_length_mm += by_mm;
    add(longer, fmt::format("a stylus {} longer", round_length_text(by_mm, machine_.inch)));
  }
  for (std::size_t a = 0; a < machine_.artefacts.size(); ++a) {
    const Artefact& artefact = machine_.artefacts[a];
    // A stem from above would stand where the spindle comes.
    constexpr double steep = 0.7;
    if (!artefact.stem || std::abs(artefact.stem->direction.normalized().z()) > steep) continue;
    Machine turned = machine_;
    turned.artefacts[a].stem->direction *= -1.0;
    add(turned, fmt::format("{} held by a stem from the other side", artefact.name));
  }
}

/// One line for each reason: hundreds of angles say no more.
std::vector<LeftOut> Finder::summary_of_left_out() const {
  std::vector<LeftOut> summary;
  std::vector<int> counts;
  for (const LeftOut& left : set_.left_out) {
    const auto known = std::ranges::find(summary, left.reason, &LeftOut::reason);
    if (known != summary.end()) {
      ++counts[static_cast<std::size_t>(known - summary.begin())];
      continue;
    }
    summary.push_back(left);
    counts.push_back(1);
  }
  for (std::size_t k = 0; k < summary.size(); ++k) {
    if (counts[k] == 1) continue;
    summary[k].reason += fmt::format(" (and so at {} more sets of angles)", counts[k] - 1);
  }
  return summary;
}

Expected<PlanOutcome> Finder::find() {
  Problems problems = request_.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  problems = prepare();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  VisitSearch search = search_for(asked_);
  search.go_on = [this] { return ladder_.empty() || go_on(0.0); };
  problems = climb(search);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  // The best whose every way is clear of everything.
  while (!ladder_.empty()) {
    Finished best = std::move(ladder_.back());
    ladder_.pop_back();
    problems = check_plan(machine_, best.plan);
    if (!problems.empty()) continue;
    best.plan.predicted = predicted_outputs(best.prediction);
    PlanOutcome found;
    found.wanted = wanted_;
    worst_of(best.prediction, found.wanted);
    found.certificate =
        certificate(best.plan.minutes, worst_with_normal_factor(best.prediction, found.wanted));
    found.stopped_early = stopped_;
    found.least_redundancy = best.least_redundancy;
    found.longer_than_asked = best.plan.minutes > request_.minutes + 1e-9;
    if (!stopped_) {
      if (auto gain = gain_of_more(search, best)) found.gains.push_back(std::move(*gain));
      add_gains_of_set_up(best, found.gains);
    }
    found.left_out = summary_of_left_out();
    found.limited_by = limits_of(best.prediction);
    found.plan = std::move(best.plan);
    found.prediction = std::move(best.prediction);
    return found;
  }
  return tl::make_unexpected(std::move(problems));
}

std::optional<PlanOutcome> Finder::find_coarsely() {
  if (!prepare().empty()) return std::nullopt;
  effort_ = effort_of_advice;
  VisitSearch search = search_for(asked_);
  search.go_on = [this] { return go_on(0.0); };
  if (!climb(search).empty() || ladder_.empty()) return std::nullopt;
  PlanOutcome found;
  found.plan = std::move(ladder_.back().plan);
  found.prediction = std::move(ladder_.back().prediction);
  return found;
}

Expected<PlanOutcome> Finder::judge(const Plan& plan) {
  judged_ = &plan;
  Expected<FitResult> prediction = predict_plan(machine_, plan);
  if (!prediction) return tl::make_unexpected(prediction.error());
  if (Problems problems = prepare(); !problems.empty()) {
    return tl::make_unexpected(std::move(problems));
  }
  PlanOutcome outcome;
  outcome.plan = plan;
  outcome.plan.minutes = minutes_of(machine_, plan);
  outcome.plan.predicted = predicted_outputs(*prediction);
  outcome.wanted = wanted_;
  worst_of(*prediction, outcome.wanted);
  outcome.certificate =
      certificate(outcome.plan.minutes, worst_with_normal_factor(*prediction, outcome.wanted));
  outcome.least_redundancy = least_redundancy_in(*prediction);
  outcome.limited_by = limits_of(*prediction);
  outcome.prediction = std::move(*prediction);
  return outcome;
}

Expected<std::vector<CertifiedVisit>> Finder::visits() {
  if (Problems problems = prepare(); !problems.empty()) {
    return tl::make_unexpected(std::move(problems));
  }
  std::vector<CertifiedVisit> visits;
  for (std::size_t c = 0; c < set_.candidates.size(); ++c) {
    visits.push_back({set_.station(static_cast<int>(c)), least_minutes_[c]});
  }
  return visits;
}

/// The axes that turn in a plan.
std::vector<char> axes_turned(const Machine& machine, const Plan& plan) {
  std::vector<char> letters;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const bool turns = std::ranges::any_of(plan.stations, [&](const PlannedStation& station) {
      return station.angles_rad[i] != plan.stations.front().angles_rad[i];
    });
    if (turns) letters.push_back(machine.rotary[i].letter);
  }
  return letters;
}

}  // namespace

double WantedValue::scale() const { return std::hypot(wanted, least); }

Problems FindRequest::validate() const {
  Problems problems;
  const auto when = [&](bool wrong, const std::string& what, const std::string& advice) {
    if (wrong) problems.push_back({ProblemNumber::bad_argument, what, {}, advice});
  };
  when(!(minutes > 0.0), "the time allowed must be above 0 minutes", "give minutes, for example 5");
  when(!(length_mm > 0.0) || !(angle_rad > 0.0), "what is wanted must be above 0",
       "give a U95, for example 3um");
  for (const WantedU95& value : within) {
    when(!(value.U95 > 0.0), "what is wanted of " + text_of(value.name) + " must be above 0",
         "give a U95, for example 3um");
  }
  when(detect && !(detect->shift_mm > 0.0), "the shift to detect must be above 0",
       "give a length, for example 5um");
  when(clearance_mm && !(*clearance_mm > 0.0), "the clearance must be above 0", "common: 4 mm");
  when(rough_mm && !(*rough_mm >= 0.0), "the rough distance must not be negative", "common: 3 mm");
  return problems;
}

FindRequest request_for(Purpose purpose, const Machine& machine) {
  FindRequest request;
  request.purpose = purpose;
  const bool several = std::ranges::count_if(machine.rotary, [&](const RotaryAxis& axis) {
                         return measurable(machine, machine.rotary_index(axis.letter));
                       }) > 1;
  switch (purpose) {
    case Purpose::commissioning:
      request.length_mm = 0.002;
      request.angle_rad = rad_from_arcsec(5.0);
      request.minutes = several ? 6.4 : 5.0;
      break;
    case Purpose::periodic_check:
      request.length_mm = 0.004;
      request.angle_rad = rad_from_arcsec(10.0);
      request.minutes = several ? 5.0 : 4.0;
      break;
    case Purpose::after_crash:
      request.length_mm = 0.008;
      request.angle_rad = rad_from_arcsec(20.0);
      request.minutes = several ? 5.0 : 4.0;
      break;
    case Purpose::minutes: break;
  }
  return request;
}

Expected<std::vector<CertifiedVisit>> certified_visits(const Machine& machine,
                                                       const FindRequest& request) {
  return Finder(machine, request).visits();
}

Expected<PlanOutcome> judge_plan(const Machine& machine, const Plan& plan) {
  FindRequest request = request_for(plan.purpose, machine);
  request.axes = axes_turned(machine, plan);
  return Finder(machine, request).judge(plan);
}

namespace {

Expected<PlanOutcome> find_to_detect(const Machine& machine, const FindRequest& request) {
  const Machine differing = machine_that_differs(machine, *request.detect);
  FindRequest scaled = request;
  scaled.length_mm = request.detect->shift_mm;
  scaled.angle_rad = request.detect->shift_mm / arm_of_an_angle_mm;
  scaled.within.clear();
  Problems problems;
  const auto seen_by = [&](const Plan& plan) -> std::vector<SeenShift> {
    const Expected<std::vector<SeenShift>> seen =
        predict_plan(machine, plan).and_then([&](const FitResult& prediction) {
          return shifts_seen(prediction, *request.detect);
        });
    if (seen) return *seen;
    problems = seen.error();
    return {};
  };
  Finder finder(differing, scaled);
  // A comparison that cannot be made ends the search.
  finder.enough = [&](const Plan& plan) { return worst_of_seen(seen_by(plan)) <= 1.0; };
  Expected<PlanOutcome> outcome = finder.find();
  if (!outcome) return outcome;
  outcome->seen = seen_by(outcome->plan);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  Expected<FitResult> prediction = predict_plan(machine, outcome->plan);
  if (!prediction) return tl::make_unexpected(prediction.error());
  outcome->prediction = std::move(*prediction);
  outcome->plan.predicted = predicted_outputs(outcome->prediction);
  outcome->limited_by = limits_of(outcome->prediction);
  outcome->certificate.reset();
  outcome->wanted.clear();
  outcome->gains.clear();
  return outcome;
}

}  // namespace

Expected<PlanOutcome> find_plan(const Machine& machine, const FindRequest& request) {
  Problems problems = request.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  if (request.detect) return find_to_detect(machine, request);
  return Finder(machine, request).find();
}

}  // namespace pivotrace

#include "plan/visit_search.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
/// What twice the minutes are taken to be worth in an order: as much as sqrt(2) in every value. Common practice, no
/// source.
constexpr double worth_of_time = 0.5;
/// The second station is predicted from the first: further off than this costs, by this much per turn
/// beyond [rad]. Common practice, no source.
constexpr double close_by_rad = 0.8;
constexpr double cost_of_far = 0.05;
/// A minute more than there are: never worth it while another order is within them.
constexpr double cost_of_late = 100.0;
/// Stations whose order is weighed by the moves of their program, one by one.
constexpr std::size_t first_few = 3;
/// Of rearranging the order of the visits; nothing better was found later (common practice, no source).
constexpr int most_rounds_of_order = 20;

}  // namespace

std::vector<int> ChosenVisits::all() const {
  std::vector<int> visits = candidates;
  if (repeats_first && !visits.empty()) visits.push_back(visits.front());
  return visits;
}

namespace {

/// How sharply the worst value counts before the others (common practice, no source).
constexpr double sharpness = 20.0;

/// x^sharpness
double sharpened(double x) {
  const double fourth = x * x * x * x;
  const double eighth = fourth * fourth;
  return eighth * eighth * fourth;
}

/// (mean of ratio^sharpness)^(1/sharpness), one ratio after the other, without large powers.
class MeanOfRatios {
 public:
  void add(double ratio) {
    ++count_;
    if (ratio > worst_) {
      sum_ *= sharpened(worst_ / ratio);
      worst_ = ratio;
    }
    sum_ += sharpened(ratio / worst_);
  }
  double mean() const { return worst_ * std::pow(sum_ / count_, 1.0 / sharpness); }

 private:
  double sum_ = 0.0;
  double worst_ = 0.0;
  int count_ = 0;
};

/// Drift left out: it has no order yet.
double U95_of(const VisitMaker& maker, double variance,
              const Eigen::Ref<const Eigen::VectorXd>& response, const Asked& asked) {
  return VisitMaker::expanded(maker.prospect(variance, response, asked.bounds));
}

}  // namespace

double measure_of(const Asked& asked, const VisitMaker& maker, const Eigen::VectorXd& variances,
                  const Eigen::MatrixXd& responses) {
  MeanOfRatios ratios;
  for (Eigen::Index k = 0; k < variances.size(); ++k) {
    const double ratio = U95_of(maker, variances[k], responses.col(k), asked) / asked.scale[k];
    if (!std::isfinite(ratio)) return infinite;
    ratios.add(ratio);
  }
  return ratios.mean();
}

void keep_best(std::vector<int>& candidates, std::size_t count,
               const std::function<double(int)>& worth, double alike) {
  if (candidates.size() <= count || count == 0) return;
  std::ranges::stable_sort(candidates, std::ranges::greater(), worth);
  const double last = worth(candidates[count - 1]);
  while (count < candidates.size() && worth(candidates[count]) >= last - alike * std::abs(last)) {
    ++count;
  }
  candidates.resize(count);
  std::ranges::sort(candidates);
}

double VisitSearch::margin(double measure) {
  constexpr double rounding = 1e-13;
  constexpr double most = 0.01;
  return tie + std::min(most, rounding * measure * measure);
}

double VisitSearch::clearly_below(double measure) {
  return std::isfinite(measure) ? measure * (1.0 - margin(measure)) : measure;
}

VisitSearch::VisitSearch(const Machine& machine, const CandidateSet& set, const CandidateRows& rows,
                         const Asked& asked, const ProbingDistances& distances)
    : set_(set),
      rows_(rows),
      asked_(asked),
      sum_(rows.maker),
      whole_(rows.maker),
      pool_(set.candidates.size()),
      doubled_(set.candidates.size()) {
  std::iota(pool_.begin(), pool_.end(), 0);
  const auto stays = static_cast<Eigen::Index>(set.stays.size());
  turns_.resize(stays, stays);
  for (Eigen::Index i = 0; i < stays; ++i) {
    for (Eigen::Index j = 0; j < stays; ++j) {
      turns_(i, j) =
          turn_seconds(machine, distances, set.stays[static_cast<std::size_t>(i)].angles_rad,
                       set.stays[static_cast<std::size_t>(j)].angles_rad) /
          60.0;
    }
    turns_(i, i) = minutes_to_stay;
  }
}

int VisitSearch::stay_of(int candidate) const {
  return set_.candidates[static_cast<std::size_t>(candidate)].stay;
}

bool VisitSearch::can_start(int candidate) const {
  return set_.stays[static_cast<std::size_t>(stay_of(candidate))].can_start;
}

double VisitSearch::turn_minutes(int from, int to) const {
  return turns_(stay_of(from), stay_of(to));
}

double VisitSearch::touch_minutes(int candidate) const {
  return set_.candidates[static_cast<std::size_t>(candidate)].touch_minutes;
}

int VisitSearch::ways_to_avoid(const std::vector<int>& order) const {
  int count = 0;
  for (std::size_t k = 1; k < order.size(); ++k) {
    count += turn_minutes(order[k - 1], order[k]) >= minutes_to_stay ? 1 : 0;
  }
  return count;
}

double VisitSearch::tour_minutes(const std::vector<int>& order) const {
  double minutes = 0.0;
  for (std::size_t k = 0; k < order.size(); ++k) {
    minutes += touch_minutes(order[k]);
    if (k > 0) minutes += turn_minutes(order[k - 1], order[k]);
  }
  return minutes;
}

double VisitSearch::minutes_of_order(const std::vector<int>& order) const {
  return other_minutes_ + tour_minutes(order);
}

void VisitSearch::learn_minutes(const std::vector<int>& order, double minutes) {
  other_minutes_ = minutes - tour_minutes(order);
}

/// A visit and the same visit made again, one stay and the other with errors of their own.
const Visit& VisitSearch::doubled(int candidate) {
  Visit& twice = doubled_[static_cast<std::size_t>(candidate)];
  if (twice.rows.size() > 0) return twice;
  const Visit& once = rows_.visits[static_cast<std::size_t>(candidate)];
  twice.shared = once.shared;
  twice.rows.resize(2 * once.rows.rows(), once.rows.cols());
  twice.rows << once.rows, once.rows;
  twice.effects.resize(2 * once.effects.rows(), once.effects.cols());
  twice.effects << once.effects, once.effects;
  return twice;
}

bool VisitSearch::take(VisitSum& sum, const std::vector<int>& candidates) const {
  std::vector<const Visit*> visits;
  for (const int c : candidates) visits.push_back(&rows_.visits[static_cast<std::size_t>(c)]);
  return sum.take(visits);
}

double VisitSearch::evaluate(const ChosenVisits& chosen) {
  return take(sum_, chosen.all()) ? measure_of_sum() : infinite;
}

double VisitSearch::measure_of_sum() const {
  return measure_of(asked_, rows_.maker, sum_.variances(), sum_.responses());
}

bool VisitSearch::take_without(const ChosenVisits& chosen, std::size_t place) {
  std::vector<int> visits = chosen.all();
  if (whole_of_ != visits) {
    whole_of_ = std::move(visits);
    whole_is_fit_ = take(whole_, whole_of_);
  }
  const auto left_out = static_cast<std::size_t>(chosen.candidates[place]);
  return whole_is_fit_ && sum_.take_without(whole_, rows_.visits[left_out]);
}

// --------------------------------------------------------------------------------------- tours

std::vector<int> VisitSearch::stays_of(const std::vector<int>& candidates) const {
  std::vector<int> stays;
  stays.reserve(candidates.size());
  for (const int c : candidates) stays.push_back(stay_of(c));
  return stays;
}

std::vector<int> VisitSearch::shortest_tour(const ChosenVisits& chosen) const {
  Tour tour(turns_, stays_of(chosen.candidates), chosen.repeats_first);
  tour.shorten(minutes_to_stay, shortest_ways);
  std::vector<int> visits;
  for (const int place : tour.order()) {
    visits.push_back(chosen.candidates[static_cast<std::size_t>(place)]);
  }
  return visits;
}

Insertion VisitSearch::insertion_into(const std::vector<int>& tour) const {
  return {turns_, stays_of(tour)};
}

// ------------------------------------------------------------------------------------ exchange

ChosenVisits VisitSearch::rounded(const Eigen::VectorXd& share, double minutes, double first_part,
                                  bool repeats_first) {
  ChosenVisits chosen;
  chosen.repeats_first = repeats_first;
  // Where a program can begin, with the largest share.
  int first = -1;
  for (Eigen::Index v = 0; v < share.size(); ++v) {
    if (!can_start(static_cast<int>(v))) continue;
    if (first < 0 || share[v] > share[first] * (1.0 + tie)) first = static_cast<int>(v);
  }
  chosen.candidates.push_back(std::max(first, 0));
  double step = 0.0;
  for (Eigen::Index v = 0; v < share.size(); ++v) {
    step += share[v] * (touch_minutes(static_cast<int>(v)) + 0.1);
  }
  double next = first_part;
  double passed = 0.0;
  for (Eigen::Index v = 0; v < share.size(); ++v) {
    passed += share[v] * minutes / step;
    for (; passed > next; next += 1.0) {
      chosen.candidates.push_back(static_cast<int>(v));
    }
  }
  drop_until_short(chosen, minutes);
  chosen.measure = evaluate(chosen);
  chosen.minutes = minutes_of_order(shortest_tour(chosen));
  return chosen;
}

/// What brings least goes until the rest fits.
void VisitSearch::drop_until_short(ChosenVisits& chosen, double minutes) {
  while (chosen.candidates.size() > 3 && minutes_of_order(shortest_tour(chosen)) > minutes) {
    std::size_t least = 1;
    double best = infinite;
    for (std::size_t k = 1; k < chosen.candidates.size(); ++k) {
      const double measure = take_without(chosen, k) ? measure_of_sum() : infinite;
      if (measure < clearly_below(best)) {
        best = measure;
        least = k;
      }
    }
    chosen.candidates.erase(chosen.candidates.begin() + static_cast<std::ptrdiff_t>(least));
  }
}

bool VisitSearch::add_one(ChosenVisits& chosen, double minutes) {
  const double now = evaluate(chosen);
  Insertion insertion = insertion_into(shortest_tour(chosen));
  int best = -1;
  double best_gain = 0.0;
  for (const int candidate : pool_) {
    const double more = touch_minutes(candidate) + insertion.minutes(stay_of(candidate));
    if (chosen.minutes + more > minutes) continue;
    sum_.with(rows_.visits[static_cast<std::size_t>(candidate)], variances_, responses_);
    const double then = measure_of(asked_, rows_.maker, variances_, responses_);
    const double gain = std::isfinite(now) ? std::log(now / then) / more : 1.0 / then;
    if (gain <= best_gain * (1.0 + margin(std::max(now, then))) + 1e-9) continue;
    best_gain = gain;
    best = candidate;
  }
  if (best < 0) return false;
  ChosenVisits more = chosen;
  more.candidates.push_back(best);
  more.minutes = minutes_of_order(shortest_tour(more));
  if (more.minutes > minutes) return false;
  more.measure = evaluate(more);
  if (!(more.measure < clearly_below(chosen.measure))) return false;
  chosen = std::move(more);
  return true;
}

/// Those worth most per minute beside what is chosen: what would do well in the place of another does well there.
void VisitSearch::shorten_list(const ChosenVisits& chosen) {
  worthy_ = pool_;
  if (pool_.size() <= most_worthy || !std::isfinite(evaluate(chosen))) return;
  const double now = std::log(measure_of_sum());
  Insertion insertion = insertion_into(shortest_tour(chosen));
  std::vector<double> worth(set_.candidates.size());
  for (const int candidate : pool_) {
    const auto at = static_cast<std::size_t>(candidate);
    sum_.with(rows_.visits[at], variances_, responses_);
    const double then = std::log(measure_of(asked_, rows_.maker, variances_, responses_));
    worth[at] = (now - then) / (touch_minutes(candidate) + insertion.minutes(stay_of(candidate)));
  }
  keep_best(
      worthy_, most_worthy, [&](int c) { return worth[static_cast<std::size_t>(c)]; },
      10.0 * margin(chosen.measure));
}

bool VisitSearch::exchange(ChosenVisits& chosen, std::size_t place, double minutes) {
  const bool first = place == 0;
  const bool twice = first && chosen.repeats_first;
  const int old = chosen.candidates[place];
  ChosenVisits rest = chosen;
  rest.candidates.erase(rest.candidates.begin() + static_cast<std::ptrdiff_t>(place));
  rest.repeats_first = chosen.repeats_first && !first;
  const double without = !first && take_without(chosen, place) ? measure_of_sum() : evaluate(rest);
  if (!std::isfinite(without) && sum_.variances().size() == 0) return false;
  // What is added to a set that hardly determines a value carries the rounding of that set.
  const double clear = margin(std::max(without, chosen.measure));
  const std::vector<int> tour = shortest_tour(rest);
  Insertion insertion = insertion_into(tour);
  const double base = minutes_of_order(tour);
  int best = -1;
  double best_measure = chosen.measure * (1.0 - clear);
  for (const int candidate : worthy_) {
    if (candidate == old) continue;
    const auto at = static_cast<std::size_t>(candidate);
    if (first && !can_start(candidate)) continue;
    const double times = twice ? 2.0 : 1.0;
    const double more = times * (touch_minutes(candidate) + insertion.minutes(stay_of(candidate)));
    if (base + more > minutes) continue;
    sum_.with(twice ? doubled(candidate) : rows_.visits[at], variances_, responses_);
    const double then = measure_of(asked_, rows_.maker, variances_, responses_);
    if (!(then < best_measure)) continue;
    best_measure = then * (1.0 - clear);
    best = candidate;
  }
  if (best < 0) return false;
  ChosenVisits changed = chosen;
  changed.candidates[place] = best;
  changed.minutes = minutes_of_order(shortest_tour(changed));
  if (changed.minutes > minutes) return false;
  changed.measure = evaluate(changed);
  if (!(changed.measure < clearly_below(chosen.measure))) return false;
  chosen = std::move(changed);
  return true;
}

void VisitSearch::improve(ChosenVisits& chosen, double minutes, int rounds) {
  drop_until_short(chosen, minutes);
  chosen.measure = evaluate(chosen);
  chosen.minutes = minutes_of_order(shortest_tour(chosen));
  for (int round = 0; round < rounds; ++round) {
    bool better = false;
    while (add_one(chosen, minutes)) better = true;
    // What was worthy beside a set much like this one will do to begin with.
    if (round % 2 == 0 && (round > 0 || worthy_.empty())) shorten_list(chosen);
    for (std::size_t place = 0; place < chosen.candidates.size(); ++place) {
      if (go_on && !go_on()) return;
      better = exchange(chosen, place, minutes) || better;
    }
    if (!better) return;
  }
}

double VisitSearch::worst_of(const ChosenVisits& chosen, const Eigen::VectorXd& scale) {
  if (!std::isfinite(evaluate(chosen))) return infinite;
  double worst = 0.0;
  for (Eigen::Index k = 0; k < scale.size(); ++k) {
    const double U95 = U95_of(rows_.maker, sum_.variances()[k], sum_.responses().col(k), asked_);
    worst = std::max(worst, U95 / scale[k]);
  }
  return worst;
}

double VisitSearch::measure_without_one(const ChosenVisits& chosen) {
  double worst = 0.0;
  for (std::size_t k = 0; k < chosen.candidates.size(); ++k) {
    if (k > 0 || !chosen.repeats_first) {
      worst = std::max(worst, take_without(chosen, k) ? measure_of_sum() : infinite);
      continue;
    }
    ChosenVisits less = chosen;
    less.candidates.erase(less.candidates.begin());
    worst = std::max(worst, evaluate(less));
  }
  return worst;
}

// --------------------------------------------------------------------------------------- order

/// The same measure where drift counts: B^2 = B_0^2 + (drift |sum_k when_k d_k|)^2 of every value, d_k what drift at
/// the time of one visit does to it.
class VisitSearch::OrderMeasure {
 public:
  OrderMeasure(const VisitSearch& search, const std::vector<int>& visits, VisitSum& sum)
      : asked_(search.asked_) {
    const VisitMaker& maker = search.rows_.maker;
    for (Eigen::Index k = 0; k < sum.variances().size(); ++k) {
      without_.push_back(maker.prospect(sum.variances()[k], sum.responses().col(k), asked_.bounds));
    }
    const int drift = maker.first_drift_effect();
    if (drift < 0) return;
    for (const int v : visits) {
      const Visit& visit = search.rows_.visits[static_cast<std::size_t>(v)];
      drifts_.emplace_back(sum.part_of_responses(visit).middleRows<3>(drift));
    }
  }

  /// `order`: places in the list of visits.
  double operator()(const std::vector<int>& order) {
    const auto values = static_cast<Eigen::Index>(without_.size());
    shift_.setZero(3, values);
    for (std::size_t k = 0; k < order.size() && !drifts_.empty(); ++k) {
      const double when = static_cast<double>(k) / static_cast<double>(order.size() - 1) - 0.5;
      shift_ += when * drifts_[static_cast<std::size_t>(order[k])];
    }
    MeanOfRatios ratios;
    for (Eigen::Index k = 0; k < values; ++k) {
      Prospect with = without_[static_cast<std::size_t>(k)];
      with.B = std::hypot(with.B, asked_.drift_mm * shift_.col(k).norm());
      ratios.add(VisitMaker::expanded(with) / asked_.scale[k]);
    }
    return ratios.mean();
  }

 private:
  const Asked& asked_;
  std::vector<Prospect> without_;
  std::vector<Eigen::Matrix3Xd> drifts_;
  Eigen::Matrix3Xd shift_;
};

namespace {

/// Out along every second one and back along the others: the commonest cure of drift. Those from `last`
/// on stay at the end.
std::vector<int> out_and_back(int count, std::size_t last) {
  std::vector<int> order;
  for (std::size_t k = 0; k < last; k += 2) order.push_back(static_cast<int>(k));
  for (std::size_t k = last; k-- > 0;) {
    if (k % 2 == 1) order.push_back(static_cast<int>(k));
  }
  for (int k = static_cast<int>(last); k < count; ++k) order.push_back(k);
  return order;
}

/// With the part from i to j turned round, or, where j comes first, i taken there.
std::vector<int> rearranged(std::vector<int> order, std::size_t i, std::size_t j) {
  const auto at_i = order.begin() + static_cast<std::ptrdiff_t>(i);
  const auto at_j = order.begin() + static_cast<std::ptrdiff_t>(j);
  if (i < j) {
    std::reverse(at_i, at_j + 1);
  } else {
    std::rotate(at_j, at_i, at_i + 1);
  }
  return order;
}

/// Rearranged as long as that costs less; the first stays first, and those from `last` on stay at the end.
template <class Cost>
std::vector<int> exchanged(std::vector<int> order, std::size_t last, const Cost& cost,
                           double margin) {
  double least = cost(order);
  for (int round = 0; round < most_rounds_of_order; ++round) {
    bool better = false;
    for (std::size_t i = 1; i < last; ++i) {
      for (std::size_t j = 1; j < last; ++j) {
        if (i == j) continue;
        std::vector<int> moved = rearranged(order, i, j);
        const double then = cost(moved);
        if (!(then < least - margin)) continue;
        least = then;
        order = std::move(moved);
        better = true;
      }
    }
    if (!better) break;
  }
  return order;
}

}  // namespace

double VisitSearch::order_cost(double measure, double taken, double minutes,
                               const std::vector<int>& order) const {
  return std::log(measure) + worth_of_time * std::log(taken) +
         cost_of_late * (std::max(0.0, taken - minutes) + ways_to_avoid(order));
}

std::vector<int> VisitSearch::in_order(const ChosenVisits& chosen, double minutes) {
  const std::vector<int> visits = shortest_tour(chosen);
  if (visits.size() < 4 || !std::isfinite(evaluate(chosen))) return visits;
  OrderMeasure measure(*this, visits, sum_);
  std::vector<int> made(visits.size());
  const auto make = [&](const std::vector<int>& order) {
    for (std::size_t k = 0; k < order.size(); ++k) {
      made[k] = visits[static_cast<std::size_t>(order[k])];
    }
  };
  const auto cost = [&](const std::vector<int>& order) {
    make(order);
    double far = 0.0;
    const RotaryAngles& a = set_.stays[set_.candidates[made[0]].stay].angles_rad;
    const RotaryAngles& b = set_.stays[set_.candidates[made[1]].stay].angles_rad;
    for (std::size_t i = 0; i < a.size(); ++i) {
      far += std::max(0.0, std::abs(b[i] - a[i]) - close_by_rad);
    }
    return order_cost(measure(order), minutes_of_order(made), minutes, made) + cost_of_far * far;
  };
  std::vector<int> order(visits.size());
  std::iota(order.begin(), order.end(), 0);
  const std::size_t last = chosen.repeats_first ? order.size() - 1 : order.size();
  const double clear = margin(chosen.measure);
  const std::vector<int> zigzag = out_and_back(static_cast<int>(order.size()), last);
  if (cost(zigzag) < cost(order) - clear) order = zigzag;
  make(exchanged(std::move(order), last, cost, clear));
  return made;
}

/// What is found first decides how well the rest can be predicted: each of the others is tried as the next of the
/// first few.
std::vector<int> VisitSearch::begun_cheapest(
    std::vector<int> order, const ChosenVisits& chosen, double minutes,
    const std::function<bool(const std::vector<int>& order)>& is_clear) {
  if (!exact_minutes || order.size() < 4 || !std::isfinite(evaluate(chosen))) return order;
  const std::vector<int> visits = order;
  OrderMeasure measure(*this, visits, sum_);
  std::vector<int> places(visits.size());
  std::iota(places.begin(), places.end(), 0);
  const auto made = [&](const std::vector<int>& at) {
    std::vector<int> visited;
    for (const int place : at) visited.push_back(visits[static_cast<std::size_t>(place)]);
    return visited;
  };
  const auto cost = [&](const std::vector<int>& at, double worth_knowing) {
    const std::vector<int> visited = made(at);
    const double measured = measure(at);
    const double at_least =
        order_cost(measured, least_other_minutes + tour_minutes(visited), minutes, visited);
    if (at_least > worth_knowing) return at_least;
    return order_cost(measured, exact_minutes(visited), minutes, visited);
  };
  const std::size_t last = chosen.repeats_first ? places.size() - 1 : places.size();
  const double clear = margin(chosen.measure);
  double least = cost(places, infinite);
  for (std::size_t next = 1; next < std::min(first_few, last); ++next) {
    std::vector<int> best = places;
    for (std::size_t k = next + 1; k < last; ++k) {
      std::vector<int> moved = rearranged(places, k, next);
      const double then = cost(moved, least);
      if (!(then < least - clear) || !is_clear(made(moved))) continue;
      least = then;
      best = std::move(moved);
    }
    places = std::move(best);
  }
  return made(places);
}

}  // namespace pivotrace

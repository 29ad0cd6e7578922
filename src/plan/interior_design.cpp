#include "plan/interior_design.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <functional>
#include <iterator>
#include <limits>
#include <map>
#include <memory>
#include <numeric>
#include <set>
#include <utility>

#include "plan/design_information.h"

namespace pivotrace {

namespace {

constexpr int most_rounds = 12;
constexpr int most_newton_steps = 60;
/// The barrier is made so many times weaker at a time.
constexpr double weaker = 12.0;
/// The multiplier of a value below which its own curvature counts for nothing.
constexpr double least_curve = 1e-4;
/// Part of the minutes spread over all of a pool to begin with.
constexpr double spread = 0.02;
/// Pools begin with so many visits, and so many join at a time.
constexpr std::size_t first_pool = 200;
constexpr std::size_t joining = 100;
/// Visits worth this part of the best stay in a pool.
constexpr double worth_keeping = 0.9;
/// A pool that begins so many times worse than the former ended has lost what sees some unknown: nothing
/// computed with it has digits.
constexpr double much_worse = 2.0;

/// The problem among the visits of a pool. A point: shares (S), counts of shared effects by group (G), then t.
class PoolDesign {
 public:
  PoolDesign(const DesignTask& task, const Eigen::VectorXd& precision, std::vector<int> pool)
      : task_(task), precision_(precision), pool_(std::move(pool)), p_(task.by_unknown.rows()) {
    number_shared_effects();
    for (const int v : pool_) visits_.push_back(visit_of(v));
    group_shared_effects();
  }

  /// False where that has no numbers.
  bool start(const Eigen::VectorXd& share);
  /// Until no more than `gap` of the ratio can be won among the pool.
  void solve(double first_gap, double gap);

  /// Multiplications of a step, about.
  double work() const {
    const auto size = static_cast<double>(shares() + groups());
    const auto n = static_cast<double>(n_);
    return static_cast<double>(values()) * n * size * (n + size);
  }
  int steps() const { return steps_; }

  double ratio() const { return std::sqrt(unit_ * sight_.f.maxCoeff()); }
  Eigen::VectorXd share() const;
  Eigen::MatrixXd vectors() const;
  Eigen::VectorXd weights() const;
  Eigen::VectorXd prior_with_visits() const;

 private:
  struct PoolVisit {
    Eigen::MatrixXd information;
    std::vector<Eigen::Index> columns;
    double times = 0.0;  ///< visits per share
  };
  struct Sight {
    std::vector<Eigen::LLT<Eigen::MatrixXd>> factors;
    Eigen::MatrixXd vectors;  ///< (n x K)
    Eigen::VectorXd f;        ///< (K)
    double barrier = std::numeric_limits<double>::infinity();
  };

  Eigen::Index shares() const { return static_cast<Eigen::Index>(pool_.size()); }
  Eigen::Index groups() const { return felt_.rows(); }
  Eigen::Index values() const { return task_.by_unknown.cols(); }
  double square(Eigen::Index k) const { return unit_ * task_.scale[k] * task_.scale[k]; }

  void number_shared_effects();
  PoolVisit visit_of(int visit) const;
  void group_shared_effects();
  Eigen::MatrixXd information_at(const Eigen::VectorXd& point) const;
  void fill_values(const Eigen::VectorXd& point, Sight& sight) const;
  double best_t(const Eigen::VectorXd& f) const;
  void settle(Eigen::VectorXd& point, Sight& sight) const;
  double barrier_at(const Eigen::VectorXd& point, const Eigen::VectorXd& f) const;
  Eigen::MatrixXd pulls(Eigen::Index value) const;
  void add_limits(Eigen::VectorXd& slope, Eigen::MatrixXd& curve) const;
  void add_value(Eigen::Index k, Eigen::VectorXd& slope, Eigen::MatrixXd& curve) const;
  bool newton_step(double near_enough);

  const DesignTask& task_;
  const Eigen::VectorXd& precision_;
  std::vector<int> pool_;
  Eigen::Index p_;
  Eigen::Index n_ = 0;
  std::vector<int> shared_;         ///< effects the pool feels, by their column less p
  std::map<int, Eigen::Index> at_;  ///< the other way round
  std::vector<PoolVisit> visits_;
  std::vector<Eigen::Index> group_;  ///< of every shared effect
  Eigen::MatrixXd felt_;             ///< (G x S) visits that feel a group, per share
  double unit_ = 1.0;                ///< of f: what it was to begin with
  double sharpness_ = 1.0;           ///< t counts so many times as much as the barrier
  int steps_ = 0;
  Eigen::VectorXd point_;
  Sight sight_;
};

void PoolDesign::number_shared_effects() {
  std::set<int> felt;
  for (const int v : pool_) {
    const Visit& visit = task_.visits[static_cast<std::size_t>(v)];
    felt.insert(visit.shared.begin(), visit.shared.end());
  }
  shared_.assign(felt.begin(), felt.end());
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    at_[shared_[j]] = static_cast<Eigen::Index>(j);
  }
  n_ = p_ + static_cast<Eigen::Index>(shared_.size());
}

PoolDesign::PoolVisit PoolDesign::visit_of(int visit) const {
  const auto at = static_cast<std::size_t>(visit);
  const Visit& whole = task_.visits[at];
  PoolVisit part;
  part.information = whole.rows.transpose() * whole.rows;
  part.columns.resize(static_cast<std::size_t>(p_));
  std::iota(part.columns.begin(), part.columns.end(), 0);
  for (const int j : whole.shared) part.columns.push_back(p_ + at_.at(j));
  part.times = task_.total_minutes / task_.minutes[at];
  return part;
}

/// Effects that the same visits feel count as often as each other.
void PoolDesign::group_shared_effects() {
  Eigen::MatrixXd times =
      Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(shared_.size()), shares());
  for (Eigen::Index v = 0; v < shares(); ++v) {
    const PoolVisit& visit = visits_[static_cast<std::size_t>(v)];
    for (const Eigen::Index column : visit.columns) {
      if (column >= p_) times(column - p_, v) = visit.times;
    }
  }
  std::map<std::vector<double>, Eigen::Index> known;
  for (const auto& row : times.rowwise()) {
    const std::vector<double> key(row.begin(), row.end());
    group_.push_back(known.try_emplace(key, static_cast<Eigen::Index>(known.size())).first->second);
  }
  felt_.resize(static_cast<Eigen::Index>(known.size()), shares());
  for (std::size_t j = 0; j < group_.size(); ++j) {
    felt_.row(group_[j]) = times.row(static_cast<Eigen::Index>(j));
  }
}

/// Without what is known before.
Eigen::MatrixXd PoolDesign::information_at(const Eigen::VectorXd& point) const {
  Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(n_, n_);
  for (Eigen::Index v = 0; v < shares(); ++v) {
    const PoolVisit& visit = visits_[static_cast<std::size_t>(v)];
    sum(visit.columns, visit.columns) += point[v] * visit.times * visit.information;
  }
  sum.diagonal().head(p_).array() += 1.0 / (unseen_sigma * unseen_sigma);
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    const auto at = p_ + static_cast<Eigen::Index>(j);
    sum(at, at) += precision_[shared_[j]] * point[shares() + group_[j]];
  }
  return sum;
}

void PoolDesign::fill_values(const Eigen::VectorXd& point, Sight& sight) const {
  const Eigen::MatrixXd sum = information_at(point);
  sight.vectors = Eigen::MatrixXd::Zero(n_, values());
  sight.vectors.topRows(p_) = task_.by_unknown;
  for (std::size_t k = 0; k < task_.known_before.size(); ++k) {
    Eigen::MatrixXd whole = sum;
    whole.topLeftCorner(p_, p_) += task_.known_before[k];
    sight.factors.emplace_back(whole);
    if (sight.factors.back().info() != Eigen::Success) return sight.factors.clear();
  }
  sight.f.resize(values());
  for (Eigen::Index k = 0; k < values(); ++k) {
    const auto own = std::min(static_cast<std::size_t>(k), sight.factors.size() - 1);
    sight.factors[own].solveInPlace(sight.vectors.col(k));
    const double variance = task_.by_unknown.col(k).dot(sight.vectors.col(k).head(p_));
    sight.f[k] = (variance + task_.constant[k]) / square(k);
  }
}

/// Infinite outside.
double PoolDesign::barrier_at(const Eigen::VectorXd& point, const Eigen::VectorXd& f) const {
  const auto share = point.head(shares()).array();
  const auto count = point.segment(shares(), groups()).array();
  const double t = point[point.size() - 1];
  const Eigen::ArrayXd left = (felt_ * point.head(shares())).array() - count;
  const double rest = 1.0 - share.sum();
  if (!(share.minCoeff() > 0.0) || !(rest > 0.0) || !(f.maxCoeff() < t)) return Sight{}.barrier;
  double sum = sharpness_ * t - (t - f.array()).log().sum() - share.log().sum() - std::log(rest);
  if (groups() == 0) return sum;
  if (!(left.minCoeff() > 0.0) || !(count.maxCoeff() < 1.0)) return Sight{}.barrier;
  return sum - left.log().sum() - (1.0 - count).log().sum();
}

/// Where the barrier is least for these f: the sum of 1 / (t - f_k) is its sharpness. From below, by Newton.
double PoolDesign::best_t(const Eigen::VectorXd& f) const {
  double t = f.maxCoeff() + 1.0 / sharpness_;
  for (int step = 0; step < 30; ++step) {
    const Eigen::ArrayXd near = (t - f.array()).inverse();
    t += (near.sum() - sharpness_) / near.square().sum();
  }
  return t;
}

/// At the best t, which a step only foresees.
void PoolDesign::settle(Eigen::VectorXd& point, Sight& sight) const {
  point[point.size() - 1] = best_t(sight.f);
  sight.barrier = barrier_at(point, sight.f);
}

bool PoolDesign::start(const Eigen::VectorXd& share) {
  point_.resize(shares() + groups() + 1);
  for (Eigen::Index v = 0; v < shares(); ++v) {
    point_[v] = share[pool_[static_cast<std::size_t>(v)]];
  }
  auto own = point_.head(shares());
  own *= (1.0 - 2.0 * spread) / std::max(own.sum(), 1e-300);
  own.array() += spread / static_cast<double>(shares());
  point_.segment(shares(), groups()) = 0.9 * (felt_ * own).cwiseMin(1.0);
  unit_ = 1.0;
  fill_values(point_, sight_);
  if (sight_.factors.empty()) return false;
  unit_ = sight_.f.maxCoeff();
  sight_.f /= unit_;
  return true;
}

/// Columns: what a unit of every share and count adds to M a, of one value.
Eigen::MatrixXd PoolDesign::pulls(Eigen::Index value) const {
  Eigen::MatrixXd pull = Eigen::MatrixXd::Zero(n_, shares() + groups());
  const auto vector = sight_.vectors.col(value);
  for (Eigen::Index v = 0; v < shares(); ++v) {
    const PoolVisit& visit = visits_[static_cast<std::size_t>(v)];
    pull(visit.columns, v) = visit.times * (visit.information * vector(visit.columns));
  }
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    const auto at = p_ + static_cast<Eigen::Index>(j);
    pull(at, shares() + group_[j]) = precision_[shared_[j]] * vector[at];
  }
  return pull;
}

/// Of the limits of shares and counts.
void PoolDesign::add_limits(Eigen::VectorXd& slope, Eigen::MatrixXd& curve) const {
  const Eigen::Index S = shares(), G = groups();
  const Eigen::ArrayXd inverse = point_.head(S).array().inverse();
  const double rest = 1.0 / (1.0 - point_.head(S).sum());
  slope.head(S).array() += rest - inverse;
  curve.topLeftCorner(S, S).array() += rest * rest;
  curve.diagonal().head(S).array() += inverse.square();
  const Eigen::VectorXd count = point_.segment(S, G);
  const Eigen::VectorXd left = (felt_ * point_.head(S) - count).cwiseInverse();
  const Eigen::VectorXd above = (1.0 - count.array()).inverse();
  const Eigen::MatrixXd by_share = left.asDiagonal() * felt_;
  slope.head(S) -= by_share.colwise().sum().transpose();
  slope.segment(S, G) += left + above;
  curve.topLeftCorner(S, S) += by_share.transpose() * by_share;
  curve.diagonal().segment(S, G) += left.cwiseAbs2() + above.cwiseAbs2();
  const Eigen::MatrixXd mixed = left.asDiagonal() * by_share;
  curve.block(S, 0, G, S) -= mixed;
  curve.block(0, S, S, G) -= mixed.transpose();
}

/// Of -log(t - f_k).
void PoolDesign::add_value(Eigen::Index k, Eigen::VectorXd& slope, Eigen::MatrixXd& curve) const {
  const Eigen::Index last = point_.size() - 1;
  const double near = 1.0 / (point_[last] - sight_.f[k]);
  Eigen::MatrixXd pull = pulls(k);
  Eigen::VectorXd down(point_.size());  // of t - f_k
  down.head(last) = pull.transpose() * sight_.vectors.col(k) / square(k);
  down[last] = 1.0;
  slope -= near * down;
  curve.selfadjointView<Eigen::Lower>().rankUpdate(down, near * near);
  if (near < least_curve * sharpness_) return;
  const auto own = std::min(static_cast<std::size_t>(k), sight_.factors.size() - 1);
  sight_.factors[own].matrixL().solveInPlace(pull);
  auto of_shares = curve.topLeftCorner(last, last);
  of_shares.selfadjointView<Eigen::Lower>().rankUpdate(pull.transpose(), 2.0 * near / square(k));
}

/// False where it is at its best.
bool PoolDesign::newton_step(double near_enough) {
  const Eigen::Index size = point_.size();
  Eigen::VectorXd slope = Eigen::VectorXd::Zero(size);
  Eigen::MatrixXd curve = Eigen::MatrixXd::Zero(size, size);
  slope[size - 1] = sharpness_;
  add_limits(slope, curve);
  for (Eigen::Index k = 0; k < values(); ++k) add_value(k, slope, curve);
  const Eigen::VectorXd unit = curve.diagonal().cwiseSqrt().cwiseInverse();
  curve = unit.asDiagonal() * curve * unit.asDiagonal();
  const Eigen::LDLT<Eigen::MatrixXd, Eigen::Lower> factor(curve);
  const Eigen::VectorXd step = -unit.cwiseProduct(factor.solve(unit.cwiseProduct(slope)));
  const double fall = -slope.dot(step);
  if (!(fall > near_enough)) return false;
  for (double part = 1.0; part > 1e-6; part *= 0.5) {
    Eigen::VectorXd then = point_ + part * step;
    Sight sight;
    fill_values(then, sight);
    if (sight.factors.empty()) continue;
    settle(then, sight);
    if (!(sight.barrier < sight_.barrier - 0.01 * part * fall)) continue;
    point_ = then;
    sight_ = std::move(sight);
    return true;
  }
  return false;
}

void PoolDesign::solve(double first_gap, double gap) {
  const auto limits = static_cast<double>(values() + shares() + 1 + 2 * groups());
  for (double left = first_gap;; left = std::max(left / weaker, gap)) {
    sharpness_ = limits / left;
    settle(point_, sight_);
    while (steps_ < most_newton_steps && newton_step(left <= gap ? 1e-5 : 0.1)) ++steps_;
    if (left <= gap || steps_ >= most_newton_steps) return;
  }
}

Eigen::VectorXd PoolDesign::share() const {
  Eigen::VectorXd all = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(task_.visits.size()));
  for (Eigen::Index v = 0; v < shares(); ++v) {
    all[pool_[static_cast<std::size_t>(v)]] = point_[v];
  }
  return all / all.sum();
}

Eigen::MatrixXd PoolDesign::vectors() const {
  Eigen::MatrixXd all =
      Eigen::MatrixXd::Zero(p_ + static_cast<Eigen::Index>(task_.shared.size()), values());
  all.topRows(p_) = sight_.vectors.topRows(p_);
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    all.row(p_ + shared_[j]) = sight_.vectors.row(p_ + static_cast<Eigen::Index>(j));
  }
  return all;
}

/// To a few digits.
double roughly(double x) {
  constexpr double digits = 4096.0;
  int exponent = 0;
  const double part = std::frexp(x, &exponent);
  return std::ldexp(std::round(part * digits) / digits, exponent);
}

/// Any weights prove something, and these are as far apart as rounding makes what is left between t and f: a few of their
/// digits are the same on every machine.
Eigen::VectorXd PoolDesign::weights() const {
  const Eigen::VectorXd level = (point_[point_.size() - 1] - sight_.f.array()).inverse();
  return (level / level.sum()).cwiseQuotient(task_.scale.cwiseAbs2()).unaryExpr(&roughly);
}

Eigen::VectorXd PoolDesign::prior_with_visits() const {
  Eigen::VectorXd part = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(task_.shared.size()));
  const Eigen::VectorXd count = point_.segment(shares(), groups());
  const Eigen::VectorXd left = felt_ * point_.head(shares()) - count;
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    const double above = 1.0 - count[group_[j]];
    part[shared_[j]] = above / (above + left[group_[j]]);
  }
  return part;
}

/// In falling order of `amount`; what is alike but for rounding, as the two sides of a pin are, by number, so that
/// every machine finds the same order.
void sort_falling(std::vector<int>& visits, const Eigen::VectorXd& amount) {
  const auto roughly = [&](int v) { return static_cast<float>(amount[v]); };
  std::ranges::stable_sort(visits, std::ranges::greater(), roughly);
}

/// Those of some share, and those of most worth at the same sets of shared effects once.
std::vector<int> pool_from(const DesignTask& task, const Eigen::VectorXd& share,
                           const Eigen::VectorXd& worth, std::size_t most) {
  std::vector<int> by_share(task.visits.size());
  std::iota(by_share.begin(), by_share.end(), 0);
  std::vector<int> by_worth = by_share;
  sort_falling(by_share, share);
  sort_falling(by_worth, worth);
  std::set<int> pool;
  const double least = 1e-3 / static_cast<double>(most);
  for (const int v : by_share) {
    if (pool.size() >= most || share[v] < least) break;
    pool.insert(v);
  }
  std::set<std::vector<int>> places;
  for (const int v : by_worth) {
    if (pool.size() >= most) break;
    if (places.insert(task.visits[static_cast<std::size_t>(v)].shared).second) pool.insert(v);
  }
  return {pool.begin(), pool.end()};
}

/// Without what is worth clearly less there, with the best of what would be worth more than all of it.
std::vector<int> next_pool(const DesignTask& task, const std::vector<int>& pool,
                           const Eigen::VectorXd& gains) {
  double best = 0.0;
  for (const int v : pool) best = std::max(best, gains[v]);
  std::set<int> next;
  for (const int v : pool) {
    if (gains[v] > worth_keeping * best) next.insert(v);
  }
  std::vector<int> better;
  for (Eigen::Index v = 0; v < gains.size(); ++v) {
    if (gains[v] > best * (1.0 + 1e-6)) better.push_back(static_cast<int>(v));
  }
  sort_falling(better, gains);
  std::set<std::vector<int>> places;
  for (const int v : better) {
    if (places.size() >= joining) break;
    if (places.insert(task.visits[static_cast<std::size_t>(v)].shared).second) next.insert(v);
  }
  return {next.begin(), next.end()};
}

/// Begun at `share` among `pool`, which takes `former` in where it alone has lost what sees some unknown. Null
/// where that has no numbers.
std::unique_ptr<PoolDesign> begun(const DesignTask& task, const Eigen::VectorXd& precision,
                                  std::vector<int>& pool, const std::vector<int>& former,
                                  const Eigen::VectorXd& share, double reached) {
  auto alone = std::make_unique<PoolDesign>(task, precision, pool);
  if (alone->start(share) && alone->ratio() <= much_worse * reached) return alone;
  std::vector<int> both;
  std::set_union(pool.begin(), pool.end(), former.begin(), former.end(), std::back_inserter(both));
  pool = std::move(both);
  auto together = std::make_unique<PoolDesign>(task, precision, pool);
  return together->start(share) ? std::move(together) : nullptr;
}

}  // namespace

RelaxedDesign sharpened_design(const DesignTask& task, const RelaxedDesign& start, double gap,
                               double& work_left) {
  RelaxedDesign best = start;
  if (start.vectors.size() == 0) return best;
  DesignInformation information(task);
  Eigen::VectorXd share = start.share;
  std::vector<int> pool = pool_from(task, share, start.worth, first_pool);
  std::vector<int> former;
  double left = 1.0;  // between bound and design so far
  double reached = std::numeric_limits<double>::infinity();
  for (int round = 0; round < most_rounds && work_left > 0.0; ++round) {
    const auto inside = begun(task, information.precision(), pool, former, share, reached);
    if (inside == nullptr) break;
    inside->solve(0.05, std::max(0.4 * gap, std::min(0.1 * left, 0.02)));
    work_left -= inside->steps() * inside->work();
    share = inside->share();
    const Eigen::MatrixXd vectors = inside->vectors();
    const Eigen::VectorXd weights = inside->weights();
    information.count_priors(inside->prior_with_visits());
    const Eigen::VectorXd gains = information.per_minute(vectors) * weights;
    const double largest = gains.maxCoeff();
    const double proven = information.proven_ratio(vectors, weights, largest);
    if (proven > best.least_ratio) {
      best = {share,
              gains / largest,
              proven,
              inside->ratio(),
              vectors,
              weights,
              information.prior_with_visits()};
    }
    reached = inside->ratio();
    left = 1.0 - best.least_ratio / reached;
    if (left < gap) break;
    former = std::exchange(pool, next_pool(task, pool, gains));
  }
  return best;
}

}  // namespace pivotrace

#include "plan/interior_design.h"

#include <Eigen/Cholesky>
#include <Eigen/SparseCore>
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
#include "plan/reduced_normals.h"

namespace pivotrace {

namespace {

constexpr int most_rounds = 12;
constexpr int most_steps = 60;
/// No limit comes nearer at one step than to this part of where it was.
constexpr double part_left = 0.05;
/// A step cut down to this part gets no further.
constexpr double shortest_part = 1e-6;
/// Aimed at is this part of what slack times multiplier is on average: less after a long step, never less than
/// `least_aim`.
constexpr double first_aim = 0.3;
constexpr double most_aim = 0.8;
constexpr double least_aim = 0.02;
/// The multiplier of a value below which its own curvature counts for nothing.
constexpr double least_curve = 1e-3;
/// Part of the minutes spread over all of a pool to begin with.
constexpr double spread = 0.02;
/// Pools begin with so many visits, and so many join at a time.
constexpr std::size_t first_pool = 200;
constexpr std::size_t joining = 100;
/// Visits worth this part of the best stay in a pool, and those that hold this share of the minutes.
constexpr double worth_keeping = 0.9;
constexpr double share_keeping = 2e-4;
/// How far t begins above the values, as a share of the worst.
constexpr double first_slack = 0.05;
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
  /// Until no more than `gap` of the ratio can be won among the pool; goes on where it was.
  void solve(double gap);
  /// What can be won now.
  double gap() const { return gap_; }

  /// Multiplications of a step, about.
  double work() const {
    const auto size = static_cast<double>(shares() + groups());
    const auto p = static_cast<double>(p_);
    const auto shared = static_cast<double>(n_ - p_);
    const double of_one = size * size * (p + 1.0) + size * p * (p + shared);
    return static_cast<double>(values()) * of_one + size * size * size + shared * shared * shared;
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
    ReducedNormals normals;
    /// Of the reduced equations: one for all values, or one for each.
    std::vector<Eigen::LLT<Eigen::MatrixXd>> factors;
    Eigen::MatrixXd vectors;  ///< (n x K)
    Eigen::VectorXd f;        ///< (K)

    const Eigen::LLT<Eigen::MatrixXd>& factor_of(Eigen::Index value) const {
      return factors[std::min(static_cast<std::size_t>(value), factors.size() - 1)];
    }
  };

  Eigen::Index shares() const { return static_cast<Eigen::Index>(pool_.size()); }
  Eigen::Index groups() const { return felt_.rows(); }
  /// Of the values, the shares, the minutes, the visits that feel a group, and 1.
  Eigen::Index limits() const { return values() + shares() + 1 + 2 * groups(); }
  Eigen::Index values() const { return task_.by_unknown.cols(); }
  double square(Eigen::Index k) const { return unit_ * task_.scale[k] * task_.scale[k]; }

  void number_shared_effects();
  PoolVisit visit_of(int visit) const;
  void group_shared_effects();
  Eigen::MatrixXd information_at(const Eigen::VectorXd& point) const;
  void fill_values(const Eigen::VectorXd& point, Sight& sight) const;
  Eigen::VectorXd slacks(const Eigen::VectorXd& point, const Eigen::VectorXd& f) const;
  /// What a unit of every share and count adds to M a, of one value.
  struct Pulls {
    Eigen::MatrixXd on_unknowns;            ///< (p x S)
    Eigen::SparseMatrix<double> on_shared;  ///< (n - p x S + G)
  };
  Pulls pulls(Eigen::Index value) const;
  /// (S + G)
  Eigen::VectorXd along(const Pulls& pull, Eigen::Index value) const;
  /// Per limit: the multiplier aimed at, and multiplier over slack.
  struct Limits {
    Eigen::VectorXd pull, stiffness;
  };
  struct Equations {
    Eigen::VectorXd slope;
    Eigen::MatrixXd curve;           ///< its lower half
    Eigen::MatrixXd down;            ///< per value: slope of t - f_k
    Eigen::MatrixXd shared_inverse;  ///< D^-1
  };
  void add_curve(const Pulls& pull, Eigen::Index value, double times, Equations& to) const;
  void add_limits(const Limits& limits, Equations& to) const;
  void add_value(Eigen::Index k, const Limits& limits, Equations& to) const;
  Eigen::VectorXd direction(const Limits& limits, Equations& to) const;
  Eigen::VectorXd slack_step(const Eigen::VectorXd& step, const Equations& equations) const;
  bool take_step();

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
  double aim_ = first_aim;
  double gap_ = std::numeric_limits<double>::infinity();
  int steps_ = 0;
  Eigen::VectorXd point_;
  Eigen::VectorXd slack_;       ///< of every limit, see slacks()
  Eigen::VectorXd multiplier_;  ///< the same
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
  sight.normals = ReducedNormals(information_at(point), p_);
  if (!sight.normals.has_numbers()) return;
  for (const Eigen::MatrixXd& known : task_.known_before) {
    sight.factors.emplace_back(sight.normals.of_unknowns() + known);
    if (sight.factors.back().info() != Eigen::Success) return sight.factors.clear();
  }
  Eigen::MatrixXd unknowns = task_.by_unknown;
  sight.f.resize(values());
  for (Eigen::Index k = 0; k < values(); ++k) {
    sight.factor_of(k).solveInPlace(unknowns.col(k));
    const double variance = task_.by_unknown.col(k).dot(unknowns.col(k));
    sight.f[k] = (variance + task_.constant[k]) / square(k);
  }
  sight.vectors = sight.normals.whole(unknowns);
}

/// What is left to every limit.
Eigen::VectorXd PoolDesign::slacks(const Eigen::VectorXd& point, const Eigen::VectorXd& f) const {
  const auto share = point.head(shares());
  const auto count = point.segment(shares(), groups());
  Eigen::VectorXd all(limits());
  all << (point[point.size() - 1] - f.array()).matrix(), share, 1.0 - share.sum(),
      felt_ * share - count, (1.0 - count.array()).matrix();
  return all;
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
  point_[point_.size() - 1] = 1.0 + first_slack;
  slack_ = slacks(point_, sight_.f);
  multiplier_ = first_slack / static_cast<double>(limits()) * slack_.cwiseInverse();
  multiplier_.head(values()).array() /= multiplier_.head(values()).sum();
  return true;
}

PoolDesign::Pulls PoolDesign::pulls(Eigen::Index value) const {
  Pulls pull;
  pull.on_unknowns.resize(p_, shares());
  std::vector<Eigen::Triplet<double>> on_shared;
  const auto vector = sight_.vectors.col(value);
  for (Eigen::Index v = 0; v < shares(); ++v) {
    const PoolVisit& visit = visits_[static_cast<std::size_t>(v)];
    const Eigen::VectorXd pulled = visit.times * (visit.information * vector(visit.columns));
    pull.on_unknowns.col(v) = pulled.head(p_);
    for (Eigen::Index j = p_; j < pulled.size(); ++j) {
      const Eigen::Index column = visit.columns[static_cast<std::size_t>(j)];
      on_shared.emplace_back(column - p_, v, pulled[j]);
    }
  }
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    const auto at = static_cast<Eigen::Index>(j);
    on_shared.emplace_back(at, shares() + group_[j], precision_[shared_[j]] * vector[p_ + at]);
  }
  pull.on_shared.resize(n_ - p_, shares() + groups());
  pull.on_shared.setFromTriplets(on_shared.begin(), on_shared.end());
  return pull;
}

Eigen::VectorXd PoolDesign::along(const Pulls& pull, Eigen::Index value) const {
  const auto vector = sight_.vectors.col(value);
  Eigen::VectorXd sum = pull.on_shared.transpose() * vector.tail(n_ - p_);
  sum.head(shares()) += pull.on_unknowns.transpose() * vector.head(p_);
  return sum;
}

/// `times` P'M^-1 P of the pulls P, by the shared effects alone and by what is left of the unknowns once they follow:
///   P_s'D^-1 P_s + R'(A - B D^-1 B' + M_0)^-1 R,  R = P_p - B D^-1 P_s
void PoolDesign::add_curve(const Pulls& pull, Eigen::Index value, double times,
                           Equations& to) const {
  auto of_points = to.curve.topLeftCorner(to.curve.rows() - 1, to.curve.cols() - 1);
  const Eigen::MatrixXd shared = to.shared_inverse * pull.on_shared;
  of_points += times * (pull.on_shared.transpose() * shared);
  Eigen::MatrixXd left = -sight_.normals.followed().transpose() * pull.on_shared;
  left.leftCols(shares()) += pull.on_unknowns;
  sight_.factor_of(value).matrixL().solveInPlace(left);
  of_points.selfadjointView<Eigen::Lower>().rankUpdate(left.transpose(), times);
}

/// Of the limits of shares and counts.
void PoolDesign::add_limits(const Limits& limits, Equations& to) const {
  const Eigen::Index K = values(), S = shares(), G = groups();
  const auto [pull, stiffness] = limits;
  to.slope.head(S).array() += pull[K + S];
  to.slope.head(S) -= pull.segment(K, S);
  to.curve.topLeftCorner(S, S).array() += stiffness[K + S];
  to.curve.diagonal().head(S) += stiffness.segment(K, S);
  const Eigen::VectorXd pull_of_visits = pull.segment(K + S + 1, G);
  const Eigen::VectorXd of_visits = stiffness.segment(K + S + 1, G);
  to.slope.head(S) -= felt_.transpose() * pull_of_visits;
  to.slope.segment(S, G) += pull_of_visits + pull.tail(G);
  const Eigen::MatrixXd by_share = of_visits.asDiagonal() * felt_;
  to.curve.topLeftCorner(S, S) += felt_.transpose() * by_share;
  to.curve.diagonal().segment(S, G) += of_visits + stiffness.tail(G);
  to.curve.block(S, 0, G, S) -= by_share;
}

void PoolDesign::add_value(Eigen::Index k, const Limits& limits, Equations& to) const {
  const Eigen::Index last = point_.size() - 1;
  const Pulls pull = pulls(k);
  auto down = to.down.col(k);  // of t - f_k
  down.head(last) = along(pull, k) / square(k);
  down[last] = 1.0;
  to.slope -= limits.pull[k] * down;
  to.curve.selfadjointView<Eigen::Lower>().rankUpdate(down, limits.stiffness[k]);
  const double multiplier = multiplier_[k];
  if (multiplier >= least_curve) add_curve(pull, k, 2.0 * multiplier / square(k), to);
}

/// Solved by Newton with the multipliers as unknowns of their own, slack times multiplier on its way to `aim`.
Eigen::VectorXd PoolDesign::direction(const Limits& limits, Equations& to) const {
  const Eigen::Index size = point_.size();
  to.slope = Eigen::VectorXd::Unit(size, size - 1);
  to.curve.setZero(size, size);
  to.down.resize(size, values());
  add_limits(limits, to);
  to.shared_inverse = sight_.normals.shared_inverse();
  for (Eigen::Index k = 0; k < values(); ++k) add_value(k, limits, to);
  const Eigen::VectorXd unit = to.curve.diagonal().cwiseSqrt().cwiseInverse();
  to.curve = unit.asDiagonal() * to.curve * unit.asDiagonal();
  const Eigen::LDLT<Eigen::MatrixXd, Eigen::Lower> factor(to.curve);
  return -unit.cwiseProduct(factor.solve(unit.cwiseProduct(to.slope)));
}

/// Where multipliers of `product` / (t - f_k) have the sum 1. From below, by Newton.
double central_t(const Eigen::VectorXd& f, double product) {
  double t = f.maxCoeff() + product;
  for (int step = 0; step < 30; ++step) {
    const Eigen::ArrayXd near = product * (t - f.array()).inverse();
    t += product * (near.sum() - 1.0) / near.square().sum();
  }
  return t;
}

/// The largest part of a step, at most 1, that leaves `part_left` of everything.
double longest_part(const Eigen::VectorXd& from, const Eigen::VectorXd& step) {
  double part = 1.0;
  for (Eigen::Index i = 0; i < from.size(); ++i) {
    if (step[i] < 0.0) part = std::min(part, (1.0 - part_left) * from[i] / -step[i]);
  }
  return part;
}

/// What a step changes of every slack, of the values to first order.
Eigen::VectorXd PoolDesign::slack_step(const Eigen::VectorXd& step,
                                       const Equations& equations) const {
  Eigen::VectorXd changed =
      slacks(step, Eigen::VectorXd::Zero(values())) -
      slacks(Eigen::VectorXd::Zero(step.size()), Eigen::VectorXd::Zero(values()));
  changed.head(values()) = equations.down.transpose() * step;
  return changed;
}

/// False where it gets no further. Values are curved: t follows them, so no step is cut short by theirs.
bool PoolDesign::take_step() {
  const double aim = aim_ * slack_.dot(multiplier_) / static_cast<double>(limits());
  const Limits towards{aim * slack_.cwiseInverse(), multiplier_.cwiseQuotient(slack_)};
  Equations equations;
  const Eigen::VectorXd step = direction(towards, equations);
  if (!step.allFinite()) return false;
  const Eigen::VectorXd of_slacks = slack_step(step, equations);
  const Eigen::VectorXd of_multipliers =
      towards.pull - multiplier_ - towards.stiffness.cwiseProduct(of_slacks);
  const double part_of_multipliers = longest_part(multiplier_, of_multipliers);
  const Eigen::Index straight = limits() - values();
  const double longest = longest_part(slack_.tail(straight), of_slacks.tail(straight));
  for (double part = longest; part > shortest_part; part *= 0.5) {
    Eigen::VectorXd then = point_ + part * step;
    Sight sight;
    fill_values(then, sight);
    const Eigen::Index t = then.size() - 1;
    if (sight.factors.empty() || sight.f.maxCoeff() > point_[t]) continue;
    then[t] = central_t(sight.f, aim);
    slack_ = slacks(then, sight.f);
    point_ = std::move(then);
    sight_ = std::move(sight);
    multiplier_ += part_of_multipliers * of_multipliers;
    const double shorter = 1.0 - std::min(part, part_of_multipliers);
    aim_ = std::clamp(shorter * shorter, least_aim, most_aim);
    return true;
  }
  return false;
}

void PoolDesign::solve(double gap) {
  for (steps_ = 0; steps_ < most_steps && gap_ > gap && take_step(); ++steps_) {
    gap_ = slack_.dot(multiplier_);
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

/// Any weights prove something: a few digits of the multipliers are the same on every machine.
Eigen::VectorXd PoolDesign::weights() const {
  const Eigen::VectorXd level = multiplier_.head(values());
  return (level / level.sum()).cwiseQuotient(task_.scale.cwiseAbs2()).unaryExpr(&roughly);
}

Eigen::VectorXd PoolDesign::prior_with_visits() const {
  Eigen::VectorXd part = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(task_.shared.size()));
  const auto of_visits = multiplier_.segment(values() + shares() + 1, groups());
  const auto of_one = multiplier_.tail(groups());
  for (std::size_t j = 0; j < shared_.size(); ++j) {
    const Eigen::Index group = group_[j];
    part[shared_[j]] = of_visits[group] / (of_visits[group] + of_one[group]);
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

/// Without what is worth clearly less there and holds next to no share, with the best of what would be worth more than all of it.
std::vector<int> next_pool(const DesignTask& task, const std::vector<int>& pool,
                           const Eigen::VectorXd& share, const Eigen::VectorXd& gains) {
  double best = 0.0;
  for (const int v : pool) best = std::max(best, gains[v]);
  std::set<int> next;
  for (const int v : pool) {
    if (gains[v] > worth_keeping * best || share[v] > share_keeping) next.insert(v);
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
  std::unique_ptr<PoolDesign> inside;
  for (int round = 0; round < most_rounds && work_left > 0.0; ++round) {
    if (pool != former) {
      inside = begun(task, information.precision(), pool, former, share, reached);
    }
    if (inside == nullptr) break;
    inside->solve(std::max(0.4 * gap, std::min({0.1 * left, 0.02, 0.3 * inside->gap()})));
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
    former = std::exchange(pool, next_pool(task, pool, share, gains));
  }
  return best;
}

}  // namespace pivotrace

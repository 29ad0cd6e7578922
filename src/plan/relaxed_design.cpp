#include "plan/relaxed_design.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace pivotrace {

namespace {

/// What is known of an unknown that no visit sees [mm or rad]: next to nothing.
constexpr double unseen_sigma = 100.0;
constexpr double least_sigma = 1e-9;
/// Part of a prior counted with visits that is known beforehand all the same, so that what no visit of a
/// design feels has a place. More information only makes the bound weaker.
constexpr double prior_left = 1e-4;
/// Shares below this part of an equal share are dropped.
constexpr double least_share = 1e-4;

/// The information of fractional visits, and what each visit adds to it.
class Information {
 public:
  explicit Information(const DesignTask& task)
      : task_(task), p_(task.by_unknown.rows()), n_(p_ + size_of(task.shared)) {
    once_.resize(n_ - p_);
    precision_.resize(n_ - p_);
    for (std::size_t k = 0; k < task.shared.size(); ++k) {
      const auto at = static_cast<Eigen::Index>(k);
      precision_[at] = std::pow(std::max(task.shared[k].sigma, least_sigma), -2);
    }
    count_priors(task.prior_with_visits);
  }

  /// `part` of every prior with the visits, the rest once.
  void count_priors(const Eigen::VectorXd& part) {
    with_visits_ = part;
    once_ = (1.0 - part.array()).max(prior_left).matrix().cwiseProduct(precision_);
  }
  const Eigen::VectorXd& prior_with_visits() const { return with_visits_; }

  /// How many visits feel every shared effect.
  Eigen::VectorXd visits_there(const Eigen::VectorXd& share) const {
    Eigen::VectorXd visits = Eigen::VectorXd::Zero(n_ - p_);
    for (Eigen::Index v = 0; v < share.size(); ++v) {
      if (share[v] <= 0.0) continue;
      const auto at = static_cast<std::size_t>(v);
      const double times = task_.total_minutes * share[v] / task_.minutes[at];
      for (const int k : task_.visits[at].shared) visits[k] += times;
    }
    return visits;
  }

  Eigen::Index size() const { return n_; }

  /// M_0 of one value.
  Eigen::MatrixXd before(Eigen::Index value) const {
    const auto at = task_.known_before.size() > 1 ? static_cast<std::size_t>(value) : 0;
    Eigen::MatrixXd known = Eigen::MatrixXd::Zero(n_, n_);
    known.topLeftCorner(p_, p_) = task_.known_before[at];
    known.diagonal().head(p_).array() += 1.0 / (unseen_sigma * unseen_sigma);
    known.diagonal().tail(n_ - p_) = once_;
    return known;
  }

  /// sum_k l_k a_k'M_0k a_k, the a_k already times sqrt(l_k).
  double along_before(const Eigen::MatrixXd& vectors) const {
    double sum = 0.0;
    for (Eigen::Index k = 0; k < vectors.cols(); ++k) sum += along_before(vectors, k);
    return sum;
  }
  double along_before(const Eigen::MatrixXd& vectors, Eigen::Index value) const {
    const auto at = task_.known_before.size() > 1 ? static_cast<std::size_t>(value) : 0;
    const auto head = vectors.col(value).head(p_);
    return head.dot(task_.known_before[at] * head) +
           head.squaredNorm() / (unseen_sigma * unseen_sigma) +
           vectors.col(value).tail(n_ - p_).cwiseAbs2().dot(once_);
  }

  /// a_k = M_k^-1 c_k with the visits at these shares of the minutes; empty where that has no numbers.
  Eigen::MatrixXd vectors_of(const Eigen::VectorXd& share) const {
    const Eigen::Index values = task_.by_unknown.cols();
    Eigen::MatrixXd asked = Eigen::MatrixXd::Zero(n_, values);
    asked.topRows(p_) = task_.by_unknown;
    const Eigen::MatrixXd sum = of(share);
    if (task_.known_before.size() == 1) return solved(sum + before(0), asked);
    Eigen::MatrixXd vectors(n_, values);
    for (Eigen::Index k = 0; k < values; ++k) {
      const Eigen::MatrixXd one = solved(sum + before(k), asked.col(k));
      if (one.size() == 0) return {};
      vectors.col(k) = one;
    }
    return vectors;
  }

  /// Per visit and value: a_k'M_v a_k / tau_v, (visits x K).
  Eigen::MatrixXd per_minute(const Eigen::MatrixXd& vectors) const {
    Eigen::MatrixXd gains(static_cast<Eigen::Index>(task_.visits.size()), vectors.cols());
    std::vector<Eigen::Index> columns;
    Eigen::MatrixXd own, seen;
    for (std::size_t v = 0; v < task_.visits.size(); ++v) {
      const Visit& visit = task_.visits[v];
      columns_of(visit, columns);
      own = vectors(columns, Eigen::all);
      seen.noalias() = visit.rows * own;
      auto gain = gains.row(static_cast<Eigen::Index>(v));
      gain = seen.colwise().squaredNorm();
      for (const int k : visit.shared) {
        if (with_visits_[k] == 0.0) continue;
        gain += with_visits_[k] * precision_[k] * vectors.row(p_ + k).cwiseAbs2();
      }
      gain /= task_.minutes[v];
    }
    return gains;
  }

 private:
  static Eigen::Index size_of(const std::vector<SharedPart>& shared) {
    return static_cast<Eigen::Index>(shared.size());
  }

  static Eigen::MatrixXd solved(const Eigen::MatrixXd& information, const Eigen::MatrixXd& asked) {
    const Eigen::LLT<Eigen::MatrixXd> factor(information);
    if (factor.info() != Eigen::Success) return {};
    return factor.solve(asked);
  }

  /// sum_v n_v M_v
  Eigen::MatrixXd of(const Eigen::VectorXd& share) const {
    Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(n_, n_);
    std::vector<Eigen::Index> columns;
    for (Eigen::Index v = 0; v < share.size(); ++v) {
      if (share[v] <= 0.0) continue;
      const auto at = static_cast<std::size_t>(v);
      const Visit& visit = task_.visits[at];
      const double times = task_.total_minutes * share[v] / task_.minutes[at];
      columns_of(visit, columns);
      sum(columns, columns) += times * (visit.rows.transpose() * visit.rows);
      for (const int k : visit.shared) {
        sum(p_ + k, p_ + k) += times * with_visits_[k] * precision_[k];
      }
    }
    return sum;
  }

  void columns_of(const Visit& visit, std::vector<Eigen::Index>& columns) const {
    columns.resize(static_cast<std::size_t>(visit.rows.cols()));
    for (Eigen::Index j = 0; j < p_; ++j) columns[static_cast<std::size_t>(j)] = j;
    for (std::size_t k = 0; k < visit.shared.size(); ++k) {
      columns[static_cast<std::size_t>(p_) + k] = p_ + visit.shared[k];
    }
  }

  const DesignTask& task_;
  Eigen::Index p_;
  Eigen::Index n_;
  Eigen::VectorXd precision_;    ///< of the priors of shared effects
  Eigen::VectorXd with_visits_;  ///< part of it that counts with every visit
  Eigen::VectorXd once_;         ///< what of it counts beforehand
};

double proven_ratio(const DesignTask& task, const Information& information,
                    const Eigen::MatrixXd& vectors, const Eigen::VectorXd& weights,
                    double largest_gain) {
  const Eigen::MatrixXd& c = task.by_unknown;
  const double along =
      (weights.asDiagonal() * (c.transpose() * vectors.topRows(c.rows())).diagonal()).sum();
  const double before = information.along_before(vectors * weights.cwiseSqrt().asDiagonal());
  const double variance = along * along / (before + task.total_minutes * largest_gain);
  const double unit = weights.dot(task.scale.cwiseAbs2());
  return std::sqrt((variance + weights.dot(task.constant)) / unit);
}

/// A step towards every prior counting no more than once, and no more than visits feel it.
Eigen::VectorXd balanced(const Information& information, const Eigen::VectorXd& share,
                         int iteration) {
  const double step = 0.2 / (1.0 + 0.1 * iteration);
  return (information.prior_with_visits().array() +
          step * (1.0 - information.visits_there(share).array()))
      .max(0.0)
      .min(1.0);
}

/// What has dropped out comes back once it would be the best of all.
void drop_small(const Eigen::VectorXd& gains, Eigen::VectorXd& share) {
  const double least = least_share / static_cast<double>(share.size());
  for (double& s : share) {
    if (s < least) s = 0.0;
  }
  Eigen::Index most = 0;
  gains.maxCoeff(&most);
  share[most] = std::max(share[most], 1.0 / static_cast<double>(share.size()));
  share /= share.sum();
}

}  // namespace

Eigen::VectorXd least_variances(const DesignTask& task, const Eigen::VectorXd& share) {
  const Information information(task);
  const Eigen::MatrixXd vectors = information.vectors_of(share);
  const Eigen::Index values = task.by_unknown.cols();
  Eigen::VectorXd least = Eigen::VectorXd::Zero(values);
  if (vectors.size() == 0) return least;
  const Eigen::VectorXd largest = information.per_minute(vectors).colwise().maxCoeff().transpose();
  for (Eigen::Index k = 0; k < values; ++k) {
    const double along = task.by_unknown.col(k).dot(vectors.col(k).head(task.by_unknown.rows()));
    least[k] =
        along * along / (information.along_before(vectors, k) + task.total_minutes * largest[k]);
  }
  return least;
}

RelaxedDesign relaxed_design(const DesignTask& task, int iterations, double gap,
                             const Eigen::VectorXd& start) {
  const auto visits = static_cast<Eigen::Index>(task.visits.size());
  const Eigen::Index values = task.scale.size();
  Information information(task);
  RelaxedDesign best;
  best.design_ratio = std::numeric_limits<double>::infinity();
  Eigen::VectorXd share =
      start.size() == visits ? start
                             : Eigen::VectorXd::Constant(visits, 1.0 / static_cast<double>(visits));
  Eigen::VectorXd level = Eigen::VectorXd::Constant(values, 1.0 / static_cast<double>(values));
  const Eigen::VectorXd square = task.scale.cwiseAbs2();
  for (int iteration = 0; iteration < iterations; ++iteration) {
    const Eigen::MatrixXd vectors = information.vectors_of(share);
    if (vectors.size() == 0) break;
    const Eigen::VectorXd variances =
        (task.by_unknown.transpose() * vectors.topRows(task.by_unknown.rows())).diagonal();
    const Eigen::VectorXd ratios = (variances + task.constant).cwiseQuotient(square);
    const Eigen::VectorXd weights = level.cwiseQuotient(square);
    const Eigen::VectorXd gains = information.per_minute(vectors) * weights;
    const double largest = gains.maxCoeff();
    const double proven = proven_ratio(task, information, vectors, weights, largest);
    const double reached = std::sqrt(ratios.maxCoeff());
    // With other priors a ratio of before says nothing.
    if (task.balance_priors || reached < best.design_ratio) {
      best.design_ratio = reached;
      best.share = share;
    }
    if (proven > best.least_ratio) {
      best.least_ratio = proven;
      best.vectors = vectors;
      best.weights = weights;
      best.worth = gains / largest;
      best.prior_with_visits = information.prior_with_visits();
    }
    if (task.balance_priors) {
      information.count_priors(balanced(information, share, iteration));
    } else if (best.design_ratio - best.least_ratio < gap * best.design_ratio) {
      break;
    }
    const double mean = share.dot(gains);
    share = share.cwiseProduct((gains / mean).cwiseSqrt());
    drop_small(gains, share);
    level = level.cwiseProduct((ratios / ratios.maxCoeff()).cwiseSqrt());
    level /= level.sum();
  }
  return best;
}

}  // namespace pivotrace

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
      : task_(task), p_(task.rows.maker.unknowns()), values_(task.scale.size()) {
    const std::vector<SharedPart>& shared = task.rows.maker.shared();
    n_ = p_ + static_cast<Eigen::Index>(shared.size());
    before_ = Eigen::MatrixXd::Zero(n_, n_);
    before_.topLeftCorner(p_, p_) = task.rows.maker.known_before();
    before_.diagonal().head(p_).array() += 1.0 / (unseen_sigma * unseen_sigma);
    precision_.resize(n_ - p_);
    for (std::size_t k = 0; k < shared.size(); ++k) {
      const auto at = static_cast<Eigen::Index>(k);
      precision_[at] = std::pow(std::max(shared[k].sigma, least_sigma), -2);
      const double once = task.prior_with_visits[k] ? prior_left : 1.0;
      before_(p_ + at, p_ + at) = once * precision_[at];
    }
  }

  Eigen::Index size() const { return n_; }
  const Eigen::MatrixXd& before() const { return before_; }

  /// M of visits that take these shares of the minutes.
  Eigen::MatrixXd of(const Eigen::VectorXd& share) const {
    Eigen::MatrixXd sum = before_;
    std::vector<Eigen::Index> columns;
    for (Eigen::Index v = 0; v < share.size(); ++v) {
      if (share[v] <= 0.0) continue;
      const auto at = static_cast<std::size_t>(v);
      const Visit& visit = task_.rows.visits[at];
      const double times = task_.total_minutes * share[v] / task_.minutes[at];
      columns_of(visit, columns);
      sum(columns, columns) += times * (visit.rows.transpose() * visit.rows);
      for (const int k : visit.shared) {
        if (task_.prior_with_visits[static_cast<std::size_t>(k)]) {
          sum(p_ + k, p_ + k) += times * precision_[k];
        }
      }
    }
    return sum;
  }

  /// Per visit: sum_k l_k a_k'M_v a_k / tau_v, the a_k already times sqrt(l_k).
  Eigen::VectorXd per_minute(const Eigen::MatrixXd& vectors) const {
    Eigen::VectorXd gains(static_cast<Eigen::Index>(task_.rows.visits.size()));
    std::vector<Eigen::Index> columns;
    Eigen::MatrixXd own, seen;
    for (std::size_t v = 0; v < task_.rows.visits.size(); ++v) {
      const Visit& visit = task_.rows.visits[v];
      columns_of(visit, columns);
      own = vectors(columns, Eigen::all);
      seen.noalias() = visit.rows * own;
      double gain = seen.squaredNorm();
      for (const int k : visit.shared) {
        if (task_.prior_with_visits[static_cast<std::size_t>(k)]) {
          gain += precision_[k] * vectors.row(p_ + k).squaredNorm();
        }
      }
      gains[static_cast<Eigen::Index>(v)] = gain / task_.minutes[v];
    }
    return gains;
  }

 private:
  void columns_of(const Visit& visit, std::vector<Eigen::Index>& columns) const {
    columns.resize(static_cast<std::size_t>(visit.rows.cols()));
    for (Eigen::Index j = 0; j < p_; ++j) columns[static_cast<std::size_t>(j)] = j;
    for (std::size_t k = 0; k < visit.shared.size(); ++k) {
      columns[static_cast<std::size_t>(p_) + k] = p_ + visit.shared[k];
    }
  }

  const DesignTask& task_;
  Eigen::Index p_;
  Eigen::Index values_;
  Eigen::Index n_ = 0;
  Eigen::MatrixXd before_;
  Eigen::VectorXd precision_;
};

Eigen::MatrixXd weighed(const Eigen::MatrixXd& vectors, const Eigen::VectorXd& weights) {
  return vectors * weights.cwiseSqrt().asDiagonal();
}

double proven_ratio(const DesignTask& task, const Information& information,
                    const Eigen::MatrixXd& vectors, const Eigen::VectorXd& weights,
                    double largest_gain) {
  const Eigen::MatrixXd& c = task.rows.maker.by_unknown();
  const Eigen::MatrixXd scaled = weighed(vectors, weights);
  const double along =
      (weights.asDiagonal() * (c.transpose() * vectors.topRows(c.rows())).diagonal()).sum();
  const double before = (information.before() * scaled).cwiseProduct(scaled).sum();
  const double variance = along * along / (before + task.total_minutes * largest_gain);
  const double unit = weights.dot(task.scale.cwiseAbs2());
  return std::sqrt((variance + weights.dot(task.constant)) / unit);
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

double least_ratio(const DesignTask& task, const Eigen::MatrixXd& vectors,
                   const Eigen::VectorXd& weights) {
  const Information information(task);
  const double largest = information.per_minute(weighed(vectors, weights)).maxCoeff();
  return proven_ratio(task, information, vectors, weights, largest);
}

RelaxedDesign relaxed_design(const DesignTask& task, int iterations, double gap,
                             const Eigen::VectorXd& start) {
  const auto visits = static_cast<Eigen::Index>(task.rows.visits.size());
  const Eigen::Index values = task.scale.size();
  const Eigen::Index p = task.rows.maker.unknowns();
  const Information information(task);
  RelaxedDesign best;
  best.design_ratio = std::numeric_limits<double>::infinity();
  Eigen::VectorXd share =
      start.size() == visits ? start
                             : Eigen::VectorXd::Constant(visits, 1.0 / static_cast<double>(visits));
  Eigen::VectorXd level = Eigen::VectorXd::Constant(values, 1.0 / static_cast<double>(values));
  const Eigen::VectorXd square = task.scale.cwiseAbs2();
  for (int iteration = 0; iteration < iterations; ++iteration) {
    const Eigen::LLT<Eigen::MatrixXd> factor(information.of(share));
    if (factor.info() != Eigen::Success) break;
    Eigen::MatrixXd asked = Eigen::MatrixXd::Zero(information.size(), values);
    asked.topRows(p) = task.rows.maker.by_unknown();
    const Eigen::MatrixXd vectors = factor.solve(asked);
    const Eigen::VectorXd variances = asked.cwiseProduct(vectors).colwise().sum().transpose();
    const Eigen::VectorXd ratios = (variances + task.constant).cwiseQuotient(square);
    const Eigen::VectorXd weights = level.cwiseQuotient(square);
    const Eigen::VectorXd gains = information.per_minute(weighed(vectors, weights));
    const double largest = gains.maxCoeff();
    const double proven = proven_ratio(task, information, vectors, weights, largest);
    const double reached = std::sqrt(ratios.maxCoeff());
    if (reached < best.design_ratio) {
      best.design_ratio = reached;
      best.share = share;
    }
    if (proven > best.least_ratio) {
      best.least_ratio = proven;
      best.vectors = vectors;
      best.weights = weights;
      best.worth = gains / largest;
    }
    if (best.design_ratio - best.least_ratio < gap * best.design_ratio) break;
    const double mean = share.dot(gains);
    share = share.cwiseProduct((gains / mean).cwiseSqrt());
    drop_small(gains, share);
    level = level.cwiseProduct((ratios / ratios.maxCoeff()).cwiseSqrt());
    level /= level.sum();
  }
  return best;
}

}  // namespace pivotrace

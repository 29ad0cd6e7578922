#include "plan/design_information.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "plan/reduced_normals.h"

namespace pivotrace {

namespace {

constexpr double least_sigma = 1e-9;
/// Part of a prior counted with visits that is known beforehand all the same, so that what no visit of a
/// design feels has a place. More information only makes the bound weaker.
constexpr double prior_left = 1e-4;

}  // namespace

DesignInformation::DesignInformation(const DesignTask& task)
    : task_(task),
      p_(task.by_unknown.rows()),
      n_(p_ + static_cast<Eigen::Index>(task.shared.size())) {
  once_.resize(n_ - p_);
  precision_.resize(n_ - p_);
  for (std::size_t k = 0; k < task.shared.size(); ++k) {
    const auto at = static_cast<Eigen::Index>(k);
    precision_[at] = std::pow(std::max(task.shared[k].sigma, least_sigma), -2);
  }
  count_priors(task.prior_with_visits);
  Eigen::Index readings = 0;
  for (const Visit& visit : task.visits) {
    first_reading_.push_back(readings);
    readings += visit.rows.rows();
  }
  seen_.resize(p_, readings);
  for (std::size_t v = 0; v < task.visits.size(); ++v) {
    const Visit& visit = task.visits[v];
    seen_.middleCols(first_reading_[v], visit.rows.rows()) = visit.rows.leftCols(p_).transpose();
  }
}

void DesignInformation::count_priors(const Eigen::VectorXd& part) {
  with_visits_ = part;
  once_ = (1.0 - part.array()).max(prior_left).matrix().cwiseProduct(precision_);
}

Eigen::VectorXd DesignInformation::visits_there(const Eigen::VectorXd& share) const {
  Eigen::VectorXd visits = Eigen::VectorXd::Zero(n_ - p_);
  for (Eigen::Index v = 0; v < share.size(); ++v) {
    if (share[v] <= 0.0) continue;
    const auto at = static_cast<std::size_t>(v);
    const double times = task_.total_minutes * share[v] / task_.minutes[at];
    for (const int k : task_.visits[at].shared) visits[k] += times;
  }
  return visits;
}

double DesignInformation::along_before(const Eigen::MatrixXd& vectors) const {
  double sum = 0.0;
  for (Eigen::Index k = 0; k < vectors.cols(); ++k) sum += along_before(vectors, k);
  return sum;
}

double DesignInformation::along_before(const Eigen::MatrixXd& vectors, Eigen::Index value) const {
  const auto head = vectors.col(value).head(p_);
  return head.dot(task_.known_of(value) * head) +
         head.squaredNorm() / (unseen_sigma * unseen_sigma) +
         vectors.col(value).tail(n_ - p_).cwiseAbs2().dot(once_);
}

Eigen::MatrixXd DesignInformation::vectors_of(const Eigen::VectorXd& share) const {
  Eigen::MatrixXd sum = sum_of(share);
  sum.diagonal().head(p_).array() += 1.0 / (unseen_sigma * unseen_sigma);
  sum.diagonal().tail(n_ - p_) += once_;
  const ReducedNormals normals(sum, p_);
  if (!normals.has_numbers()) return {};
  Eigen::MatrixXd unknowns = task_.by_unknown;
  const auto columns_of_one = task_.known_before.size() > 1 ? 1 : unknowns.cols();
  for (Eigen::Index k = 0; k < unknowns.cols(); k += columns_of_one) {
    const Eigen::LLT<Eigen::MatrixXd> factor(normals.of_unknowns() + task_.known_of(k));
    if (factor.info() != Eigen::Success) return {};
    auto own = unknowns.middleCols(k, columns_of_one);
    own = factor.solve(own).eval();
  }
  return normals.whole(unknowns);
}

Eigen::MatrixXd DesignInformation::per_minute(const Eigen::MatrixXd& vectors) const {
  Eigen::MatrixXd along(vectors.cols(), seen_.cols());
  along.noalias() = vectors.topRows(p_).transpose() * seen_;
  Eigen::MatrixXd gains(static_cast<Eigen::Index>(task_.visits.size()), vectors.cols());
  for (std::size_t v = 0; v < task_.visits.size(); ++v) {
    const Visit& visit = task_.visits[v];
    auto own = along.middleCols(first_reading_[v], visit.rows.rows());
    auto gain = gains.row(static_cast<Eigen::Index>(v));
    for (std::size_t j = 0; j < visit.shared.size(); ++j) {
      const auto column = visit.rows.col(p_ + static_cast<Eigen::Index>(j));
      own.noalias() += vectors.row(p_ + visit.shared[j]).transpose() * column.transpose();
    }
    gain = own.rowwise().squaredNorm().transpose();
    for (const int k : visit.shared) {
      if (with_visits_[k] == 0.0) continue;
      gain += with_visits_[k] * precision_[k] * vectors.row(p_ + k).cwiseAbs2();
    }
    gain /= task_.minutes[v];
  }
  return gains;
}

/// sum_v n_v M_v
Eigen::MatrixXd DesignInformation::sum_of(const Eigen::VectorXd& share) const {
  Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(n_, n_);
  Eigen::MatrixXd weighted(p_, seen_.cols());
  Eigen::Index taken = 0;
  for (Eigen::Index v = 0; v < share.size(); ++v) {
    if (share[v] <= 0.0) continue;
    const auto at = static_cast<std::size_t>(v);
    const Visit& visit = task_.visits[at];
    const double times = task_.total_minutes * share[v] / task_.minutes[at];
    const auto seen = seen_.middleCols(first_reading_[at], visit.rows.rows());
    weighted.middleCols(taken, visit.rows.rows()) = std::sqrt(times) * seen;
    taken += visit.rows.rows();
    for (std::size_t j = 0; j < visit.shared.size(); ++j) {
      const auto column = visit.rows.col(p_ + static_cast<Eigen::Index>(j));
      const Eigen::Index k = visit.shared[j];
      sum.col(p_ + k).head(p_).noalias() += times * (seen * column);
      for (std::size_t i = 0; i < visit.shared.size(); ++i) {
        sum(p_ + visit.shared[i], p_ + k) +=
            times * column.dot(visit.rows.col(p_ + static_cast<Eigen::Index>(i)));
      }
      sum(p_ + k, p_ + k) += times * with_visits_[k] * precision_[k];
    }
  }
  sum.topLeftCorner(p_, p_).selfadjointView<Eigen::Upper>().rankUpdate(weighted.leftCols(taken));
  return sum.selfadjointView<Eigen::Upper>();
}

double DesignInformation::proven_ratio(const Eigen::MatrixXd& vectors,
                                       const Eigen::VectorXd& weights, double largest_gain) const {
  const Eigen::MatrixXd& c = task_.by_unknown;
  const double along =
      (weights.asDiagonal() * (c.transpose() * vectors.topRows(c.rows())).diagonal()).sum();
  const double before = along_before(vectors * weights.cwiseSqrt().asDiagonal());
  const double variance = along * along / (before + task_.total_minutes * largest_gain);
  const double unit = weights.dot(task_.scale.cwiseAbs2());
  return std::sqrt((variance + weights.dot(task_.constant)) / unit);
}

}  // namespace pivotrace

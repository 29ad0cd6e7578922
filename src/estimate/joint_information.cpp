#include "estimate/joint_information.h"

#include "pivotrace/solver/triangularise.h"

namespace pivotrace {

namespace {

constexpr Eigen::Index rows_per_fold = 256;

/// An effect of no size keeps its place and stays 0 [mm or rad].
constexpr double least_sigma = 1e-9;

}  // namespace

JointInformation::JointInformation(const SharedEffects& shared, int unknowns)
    : shared_(shared),
      unknowns_(unknowns),
      border_(shared.border()),
      information_(unknowns),
      waiting_(rows_per_fold, border_ + unknowns + 1) {
  for (const auto& [first, count] : shared.clusters) {
    clusters_.emplace_back(Eigen::MatrixXd::Zero(count, count + trailing()));
  }
  border_factor_ = Eigen::MatrixXd::Zero(border_, trailing());
}

void JointInformation::add_station(int station, const Eigen::Ref<const Eigen::MatrixXd>& by_shared,
                                   const Eigen::Ref<const Eigen::MatrixXd>& by_unknown,
                                   const Eigen::Ref<const Eigen::VectorXd>& residual) {
  const int cluster = shared_.cluster_of_station[station];
  const Eigen::Index first = cluster < 0 ? 0 : shared_.clusters[cluster].first;
  const Eigen::Index k = cluster < 0 ? 0 : shared_.clusters[cluster].second;
  const Eigen::Index m = residual.size();
  stack_.setZero(k + m, k + trailing());
  if (k > 0) stack_.topRows(k) = clusters_[cluster];
  const std::vector<int>& ids = shared_.of_station[station];
  for (std::size_t j = 0; j < ids.size(); ++j) {
    const Eigen::Index at =
        ids[j] < shared_.clustered ? ids[j] - first : k + ids[j] - shared_.clustered;
    stack_.col(at).tail(m) = by_shared.col(static_cast<Eigen::Index>(j));
  }
  stack_.middleCols(k + border_, unknowns_).bottomRows(m) = by_unknown;
  stack_.rightCols<1>().tail(m) = residual;
  triangularise(stack_, k, workspace_);
  if (k > 0) clusters_[cluster] = stack_.topRows(k);
  keep(stack_.bottomRows(m).rightCols(trailing()));
  rows_ += m;
}

void JointInformation::add(const Eigen::Ref<const Eigen::MatrixXd>& by_unknown,
                           const Eigen::Ref<const Eigen::VectorXd>& residual) {
  information_.add(by_unknown, residual);
  rows_ += residual.size();
}

void JointInformation::add_prior(const Eigen::VectorXd& sigma) {
  for (std::size_t c = 0; c < clusters_.size(); ++c) {
    const auto [first, count] = shared_.clusters[c];
    stack_.setZero(2 * count, count + trailing());
    stack_.topRows(count) = clusters_[c];
    for (int k = 0; k < count; ++k)
      stack_(count + k, k) = 1.0 / std::max(sigma[first + k], least_sigma);
    triangularise(stack_, count, workspace_);
    clusters_[c] = stack_.topRows(count);
    keep(stack_.bottomRows(count).rightCols(trailing()));
  }
  Eigen::MatrixXd rows = Eigen::MatrixXd::Zero(border_, trailing());
  for (Eigen::Index k = 0; k < border_; ++k)
    rows(k, k) = 1.0 / std::max(sigma[shared_.clustered + k], least_sigma);
  keep(rows);
  rows_ += sigma.size();
}

void JointInformation::keep(const Eigen::Ref<const Eigen::MatrixXd>& rows) {
  for (Eigen::Index done = 0; done < rows.rows();) {
    const Eigen::Index count = std::min(rows.rows() - done, rows_per_fold - waiting_rows_);
    waiting_.middleRows(waiting_rows_, count) = rows.middleRows(done, count);
    waiting_rows_ += count;
    done += count;
    if (waiting_rows_ == rows_per_fold) flush();
  }
}

void JointInformation::flush() {
  if (waiting_rows_ == 0) return;
  // A stack of its own: the rows being kept are a part of the other one.
  folded_.resize(border_ + waiting_rows_, trailing());
  folded_ << border_factor_, waiting_.topRows(waiting_rows_);
  triangularise(folded_, border_, workspace_);
  border_factor_ = folded_.topRows(border_);
  const auto left = folded_.bottomRows(waiting_rows_);
  information_.add(left.middleCols(border_, unknowns_), left.rightCols<1>());
  waiting_rows_ = 0;
}

// With R_n n + R_nw w = -d the effects follow the rest w: n = -G w - R_n^-1 d, G = R_n^-1 R_nw, so
//   cov(n, n) = R_n^-1 R_n^-T + G cov(w) G',  cov(n, w) = -G cov(w).
JointInformation::Solution JointInformation::solve(double rank_tolerance) {
  flush();
  Solution solution;
  solution.unknowns = information_.solve(rank_tolerance);
  solution.residual_sum_of_squares = information_.residual_sum_of_squares();
  if (!solution.unknowns.full_rank()) return solution;
  const Eigen::Index b = border_;
  const Eigen::Index q = shared_.count();
  const Eigen::Index c = shared_.clustered;
  const Eigen::Index p = unknowns_;
  solution.joint.resize(q + p, q + p);
  solution.shared.resize(q);
  Eigen::VectorXd rest(b + p);
  rest.tail(p) = solution.unknowns.step;
  auto joint = [&](Eigen::Index i, Eigen::Index j, Eigen::Index m, Eigen::Index n) {
    return solution.joint.block(i, j, m, n);
  };
  joint(q, q, p, p) = solution.unknowns.covariance;
  const auto follow = [&](const Eigen::MatrixXd& factor, Eigen::Index first, Eigen::Index after) {
    const Eigen::Index k = factor.rows();
    const Eigen::Index w = q + p - after;
    const auto triangle = factor.leftCols(k).triangularView<Eigen::Upper>();
    const Eigen::MatrixXd own = triangle.solve(Eigen::MatrixXd::Identity(k, k));
    const Eigen::MatrixXd g = triangle.solve(factor.middleCols(k, w));
    solution.shared.segment(first, k) = -own * factor.rightCols<1>() - g * rest.tail(w);
    return std::pair(own, g);
  };
  if (b > 0) {
    const auto [own, g] = follow(border_factor_, c, q);
    const Eigen::MatrixXd across = -g * solution.unknowns.covariance;
    joint(c, q, b, p) = across;
    joint(q, c, p, b) = across.transpose();
    joint(c, c, b, b) = own * own.transpose() - across * g.transpose();
    rest.head(b) = solution.shared.tail(b);
  }
  if (c == 0) return solution;
  const Eigen::Index w = b + p;
  const Eigen::MatrixXd rest_covariance = joint(c, c, w, w);
  Eigen::MatrixXd gains(c, w);
  for (std::size_t k = 0; k < clusters_.size(); ++k) {
    const auto [first, count] = shared_.clusters[k];
    const auto [own, g] = follow(clusters_[k], first, c);
    gains.middleRows(first, count) = g;
  }
  const Eigen::MatrixXd across = -gains * rest_covariance;
  joint(0, c, c, w) = across;
  joint(c, 0, w, c) = across.transpose();
  joint(0, 0, c, c).noalias() = -across * gains.transpose();
  for (std::size_t k = 0; k < clusters_.size(); ++k) {
    const auto [first, count] = shared_.clusters[k];
    const Eigen::MatrixXd own = clusters_[k].leftCols(count).triangularView<Eigen::Upper>().solve(
        Eigen::MatrixXd::Identity(count, count));
    joint(first, first, count, count) += own * own.transpose();
  }
  return solution;
}

}  // namespace pivotrace

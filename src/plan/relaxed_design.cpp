#include "plan/relaxed_design.h"

#include <algorithm>
#include <cmath>

#include "plan/design_information.h"

namespace pivotrace {

namespace {

/// Shares below this part of an equal share are dropped.
constexpr double least_share = 1e-4;

/// A step towards every prior counting no more than once, and no more than visits feel it.
Eigen::VectorXd balanced(const DesignInformation& information, const Eigen::VectorXd& share,
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
  const DesignInformation information(task);
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
  DesignInformation information(task);
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
    const double proven = information.proven_ratio(vectors, weights, largest);
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

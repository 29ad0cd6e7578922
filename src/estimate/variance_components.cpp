#include "estimate/variance_components.h"

#include <Eigen/Cholesky>
#include <Eigen/Sparse>
#include <algorithm>
#include <cmath>

namespace pivotrace {

namespace {

/// Logarithm of the largest change of a variance in one step: Fisher scoring overshoots when a
/// component is far from its start.
constexpr double largest_step = 2.0;
/// A step that no longer matters, in standard deviations of the logarithm of a variance.
constexpr double settled_step = 5e-6;
constexpr int most_steps = 40;

/// From this size on products with J'C^-1 V C^-1 J use that it is nearly empty.
constexpr Eigen::Index sparse_from = 200;

/// Groups that occur: whose effects any station has for itself or shares.
std::vector<int> groups_of(const Model& model, const RandomModel& random) {
  std::array<bool, group_count> seen{};
  seen[touch_group] = true;
  for (const OwnGroups& own : model.shared().own) {
    for (const auto& column : own) {
      for (const int group : column) seen[static_cast<std::size_t>(group)] = true;
    }
  }
  for (const SharedEffect& effect : model.shared().all) {
    seen[static_cast<std::size_t>(effect.group)] = true;
  }
  std::vector<int> groups;
  for (int group = 0; group < group_count; ++group) {
    if (seen[static_cast<std::size_t>(group)] && random.sigma(group) > 0.0) groups.push_back(group);
  }
  return groups;
}

/// Gathers the sums station by station. With C^-1 U = U M^-1 / s^2 (StationWeight) and K = S M^-1 every
/// trace is a sum of k x k products; P = C^-1 - C^-1 J N^-1 J'C^-1 with J over shared effects and
/// unknowns together, N with their priors. For a shared effect k of sigma s_k: b_k'P y = n_k / s_k and
/// b_j'P b_k = delta_jk - N^-1_jk / (s_j s_k). Derived here.
class Gathering {
 public:
  Gathering(const Model& model, const RandomModel& random, const Adjusted& adjusted)
      : model_(model),
        random_(random),
        adjusted_(adjusted),
        at_(model, adjusted.unknowns),
        sigma_(shared_sigmas(model, random).cwiseMax(1e-9)),
        size_(adjusted.joint.rows()) {
    at_.bend_by(adjusted.station_errors);
    sums_.groups = groups_of(model, random);
    count_ = static_cast<Eigen::Index>(sums_.groups.size());
    place_.fill(-1);
    for (Eigen::Index g = 0; g < count_; ++g) place_[sums_.groups[g]] = g;
    sums_.quadratic.setZero(count_);
    sums_.redundancy.setZero(count_);
    plain_.setZero(count_, count_);
    mixed_.setZero(count_, count_);
    entering_.assign(count_, Eigen::MatrixXd::Zero(size_, size_));
    has_own_.assign(count_, false);
  }

  VarianceSums run() {
    for (std::size_t s = 0; s < model_.survey().stations.size(); ++s) {
      add_station(static_cast<int>(s));
    }
    finish_own();
    add_shared();
    return std::move(sums_);
  }

 private:
  void add_station(int station) {
    at_.evaluate(station, nullptr, block_);
    const ActiveNuisances own = own_nuisances(model_, random_, station);
    const StationWeight weight(block_, random_, own);
    const std::vector<int> columns = joint_columns(model_, station);
    const Eigen::MatrixXd joint = joint_part(adjusted_, columns, columns);
    const double variance = weight.touch_variance();
    const Eigen::MatrixXd weighed = weight.weigh(joint_derivatives(block_));
    const Eigen::VectorXd left = weight.weigh(residual(station));
    const Eigen::MatrixXd& u = weight.scaled_nuisances();
    const Eigen::MatrixXd u_weighed = u.transpose() * weighed;
    const Eigen::VectorXd u_left = u.transpose() * left;
    const Eigen::MatrixXd shrunk = weight.gram() * weight.inner_inverse();  // K
    const Eigen::MatrixXd seen = weight.inner_inverse() * shrunk;           // M^-1 S M^-1
    const Eigen::MatrixXd w = shares(own);                                  // (k x groups)
    const double m = weight.rows();
    // Touch noise: V = s^2 I.
    has_own_[0] = true;
    sums_.quadratic[0] += variance * left.squaredNorm();
    sums_.redundancy[0] += m - shrunk.trace();
    plain_(0, 0) += m - 2.0 * shrunk.trace() + (shrunk * shrunk).trace();
    const Eigen::MatrixXd touch_part = variance * weighed.transpose() * weighed;
    add_to(entering_[0], columns, touch_part);
    const Eigen::MatrixXd twice = weight.weigh(weighed);
    mixed_(0, 0) += variance * variance * (joint * (weighed.transpose() * twice)).trace();
    const Eigen::MatrixXd u_twice = variance * variance * twice.transpose() * u;  // (a + p) x k
    for (Eigen::Index g = 1; g < count_; ++g) {
      const Eigen::VectorXd mine = w.col(g);
      if (!(mine.maxCoeff() > 0.0)) continue;
      has_own_[g] = true;
      sums_.quadratic[g] += variance * mine.dot(u_left.cwiseAbs2());
      sums_.redundancy[g] += mine.dot(shrunk.diagonal());
      const Eigen::MatrixXd rows = mine.asDiagonal() * u_weighed;
      add_to(entering_[g], columns, variance * u_weighed.transpose() * rows);
      plain_(0, g) += mine.dot(seen.diagonal());
      mixed_(0, g) += (joint * (u_twice * rows)).trace();
      for (Eigen::Index h = g; h < count_; ++h) {
        const Eigen::VectorXd theirs = w.col(h);
        if (!(theirs.maxCoeff() > 0.0)) continue;
        plain_(g, h) += mine.dot(shrunk.cwiseProduct(shrunk.transpose()) * theirs);
        const Eigen::MatrixXd other = theirs.asDiagonal() * u_weighed;
        mixed_(g, h) += variance * (joint * (rows.transpose() * shrunk * other)).trace();
      }
    }
  }

  /// y + B n: what the unknowns and the shared effects leave.
  Eigen::VectorXd residual(int station) const {
    Eigen::VectorXd left = block_.gap;
    const std::vector<int>& ids = model_.shared().of_station[station];
    for (std::size_t j = 0; j < ids.size(); ++j) {
      left += block_.by_shared.col(static_cast<Eigen::Index>(j)) * adjusted_.shared[ids[j]];
    }
    return left;
  }

  Eigen::MatrixXd shares(const ActiveNuisances& own) const {
    Eigen::MatrixXd w = Eigen::MatrixXd::Zero(own.count(), count_);
    for (int k = 0; k < own.count(); ++k) {
      for (const auto& [group, share] : own.groups[k]) w(k, place_[group]) += share;
    }
    return w;
  }

  static void add_to(Eigen::MatrixXd& whole, const std::vector<int>& columns,
                     const Eigen::MatrixXd& part) {
    for (std::size_t j = 0; j < columns.size(); ++j) {
      for (std::size_t i = 0; i < columns.size(); ++i) {
        whole(columns[i], columns[j]) +=
            part(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j));
      }
    }
  }

  Eigen::MatrixXd joint_times(const Eigen::MatrixXd& entering) const {
    if (size_ < sparse_from) return adjusted_.joint * entering;
    const Eigen::SparseMatrix<double> few = entering.sparseView();
    return adjusted_.joint * few;
  }

  void finish_own() {
    through_.resize(count_);
    const Eigen::Index p = model_.layout().unknowns;
    sums_.of_unknowns.assign(count_, Eigen::MatrixXd::Zero(p, p));
    sums_.information.setZero(count_, count_);
    for (Eigen::Index g = 0; g < count_; ++g) {
      if (!has_own_[g]) continue;
      through_[g] = joint_times(entering_[g]);
      sums_.redundancy[g] -= through_[g].trace();
      sums_.of_unknowns[g] = through_[g].bottomRows(p) * adjusted_.joint.rightCols(p);
    }
    for (Eigen::Index g = 0; g < count_; ++g) {
      for (Eigen::Index h = g; h < count_; ++h) {
        if (!has_own_[g] || !has_own_[h]) continue;
        const double both = through_[g].cwiseProduct(through_[h].transpose()).sum();
        add_information(g, h, plain_(g, h) - 2.0 * mixed_(g, h) + both);
      }
    }
  }

  void add_information(Eigen::Index g, Eigen::Index h, double trace) {
    sums_.information(g, h) += 0.5 * trace;
    if (g != h) sums_.information(h, g) += 0.5 * trace;
  }

  void add_shared() {
    const Eigen::Index q = model_.shared().count();
    if (q == 0) return;
    const Eigen::Index p = model_.layout().unknowns;
    std::vector<std::vector<int>> members(count_);
    for (Eigen::Index k = 0; k < q; ++k) {
      members[place_[model_.shared().all[k].group]].push_back(static_cast<int>(k));
    }
    const Eigen::VectorXd precision = sigma_.cwiseAbs2().cwiseInverse();
    for (Eigen::Index g = 0; g < count_; ++g) {
      for (const int k : members[g]) {
        sums_.quadratic[g] += adjusted_.shared[k] * adjusted_.shared[k] * precision[k];
        sums_.redundancy[g] += 1.0 - adjusted_.joint(k, k) * precision[k];
        const auto column = adjusted_.joint.col(k).tail(p);
        sums_.of_unknowns[g] += precision[k] * column * column.transpose();
      }
      for (Eigen::Index h = 0; h < count_; ++h) {
        if (has_own_[h]) add_information_between(members[g], g, h, precision);
        if (h >= g) add_information(g, h, between(members[g], members[h], g == h));
      }
    }
  }

  /// Group g shared, group h of the stations alone: sum over k of b_k'P V_h P b_k.
  void add_information_between(const std::vector<int>& shared, Eigen::Index g, Eigen::Index h,
                               const Eigen::VectorXd& precision) {
    double trace = 0.0;
    for (const int k : shared) {
      trace += precision[k] * through_[h].row(k).dot(adjusted_.joint.col(k));
    }
    if (g == h) trace *= 2.0;  // a group that some stations share and others have alone
    add_information(g, h, trace);
  }

  double between(const std::vector<int>& some, const std::vector<int>& others, bool same) const {
    double sum = 0.0;
    for (const int j : others) {
      for (const int i : some) {
        const double delta = same && i == j ? 1.0 : 0.0;
        sum += std::pow(delta - adjusted_.joint(i, j) / (sigma_[i] * sigma_[j]), 2);
      }
    }
    return sum;
  }

  const Model& model_;
  const RandomModel& random_;
  const Adjusted& adjusted_;
  Linearisation at_;
  const Eigen::VectorXd sigma_;
  const Eigen::Index size_;
  VarianceSums sums_;
  Eigen::Index count_ = 0;
  std::array<Eigen::Index, group_count> place_{};
  Eigen::MatrixXd plain_;
  Eigen::MatrixXd mixed_;
  std::vector<Eigen::MatrixXd> entering_;
  std::vector<Eigen::MatrixXd> through_;
  std::vector<bool> has_own_;
  StationBlock block_;
};

}  // namespace

VarianceSums variance_sums(const Model& model, const RandomModel& random,
                           const Adjusted& adjusted) {
  return Gathering(model, random, adjusted).run();
}

namespace {

/// Whether the file states the sigma of a group, for its degrees of freedom.
double stated_dof(const Machine& machine, int group) {
  const auto dof = [&](bool stated) {
    return stated ? machine.sigma_dof : std::min(machine.sigma_dof, assumed_sigma_dof);
  };
  if (group == touch_group) return dof(machine.probe.touch_sigma_stated);
  if (group == station_group) return dof(machine.linear.station_sigma_stated);
  const RotaryAxis& axis = machine.rotary[axis_of_group(group)];
  if (is_index_group(group)) return dof(axis.index_sigma_stated);
  return dof(is_repeat_group(group) || axis.axis_motion_sigma_stated);
}

Eigen::VectorXd stated_dofs(const Machine& machine, const std::vector<int>& groups) {
  Eigen::VectorXd dof(groups.size());
  for (std::size_t g = 0; g < groups.size(); ++g) {
    dof[static_cast<Eigen::Index>(g)] = stated_dof(machine, groups[g]);
  }
  return dof;
}

Eigen::MatrixXd inverse_of(const Eigen::MatrixXd& information) {
  return information.ldlt().solve(
      Eigen::MatrixXd::Identity(information.rows(), information.cols()));
}

/// The same survey under new variances: one linear step from the old unknowns. The covariance
/// stays that of where the step began; steps die out as the variances settle.
Adjusted re_adjusted(const Model& model, const RandomModel& random, const Adjusted& before) {
  Adjusted linear = adjusted_at(model, random, before.unknowns, {}, before.station_errors);
  if (linear.information.full_rank()) {
    linear.unknowns += linear.information.step;
    linear.information.step.setZero();
  }
  return linear;
}

SigmaSource source_of(const Machine& machine, bool with_survey) {
  using From = SigmaSource::From;
  const auto from = [](bool stated) { return stated ? From::machine_file : From::defaults; };
  const bool all_indices = std::all_of(machine.rotary.begin(), machine.rotary.end(),
                                       [](const RotaryAxis& a) { return a.index_sigma_stated; });
  return {from(machine.probe.touch_sigma_stated),
          from(machine.linear.station_sigma_stated && all_indices), with_survey};
}

}  // namespace

ChosenVariances choose_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted) {
  ChosenVariances chosen;
  chosen.random = stated;
  chosen.source = source_of(model.machine(), true);
  Adjusted current = adjusted;
  VarianceSums sums = variance_sums(model, stated, current);
  const Eigen::VectorXd dof = stated_dofs(model.machine(), sums.groups);
  Eigen::VectorXd factor = Eigen::VectorXd::Ones(dof.size());
  for (int iteration = 0; iteration < most_steps; ++iteration) {
    const Eigen::VectorXd pull = dof.array() * (factor.cwiseInverse().array() - 1.0);
    const Eigen::VectorXd score = 0.5 * (sums.quadratic - sums.redundancy + pull);
    // The prior's curvature is n0 s0^2 / s^2 / 2: with its expectation n0 / 2 a variance far above the
    // stated one would creep.
    Eigen::MatrixXd information = sums.information;
    information.diagonal() += 0.5 * dof.cwiseProduct(factor.cwiseInverse().cwiseMax(1.0));
    const Eigen::VectorXd step =
        information.ldlt().solve(score).cwiseMax(-largest_step).cwiseMin(largest_step);
    const Eigen::VectorXd in_deviations =
        step.array() * information.diagonal().array().max(0.0).sqrt();
    if (in_deviations.cwiseAbs().maxCoeff() < settled_step) break;
    for (Eigen::Index g = 0; g < dof.size(); ++g) {
      factor[g] *= std::exp(step[g]);
      chosen.random.scale_variance(sums.groups[g], std::exp(step[g]));
    }
    current = re_adjusted(model, chosen.random, current);
    if (!current.information.full_rank()) break;
    sums = variance_sums(model, chosen.random, current);
  }
  chosen.groups = sums.groups;
  chosen.stated_dof = dof;
  Eigen::MatrixXd information = sums.information;
  information.diagonal() += 0.5 * dof;
  chosen.factor_covariance = inverse_of(information);
  for (Eigen::Index g = 0; g < dof.size(); ++g) {
    PooledGroup group;
    group.group = sums.groups[g];
    group.stated_sigma = stated.sigma(group.group);
    group.sigma = chosen.random.sigma(group.group);
    group.stated_dof = dof[g];
    group.redundancy = 2.0 * sums.information(g, g);
    const double alone =
        ((dof[g] + group.redundancy) * factor[g] - dof[g]) / std::max(group.redundancy, 1e-9);
    if (group.redundancy > 0.5)
      group.found_sigma = group.stated_sigma * std::sqrt(std::max(0.0, alone));
    chosen.pooled.push_back(group);
  }
  return chosen;
}

ChosenVariances stated_variances(const Model& model, const RandomModel& stated,
                                 const Adjusted& adjusted) {
  ChosenVariances chosen;
  chosen.random = stated;
  chosen.source = source_of(model.machine(), false);
  VarianceSums sums = variance_sums(model, stated, adjusted);
  chosen.groups = sums.groups;
  chosen.stated_dof = stated_dofs(model.machine(), sums.groups);
  Eigen::MatrixXd information = sums.information;
  information.diagonal() += 0.5 * chosen.stated_dof;
  chosen.factor_covariance = inverse_of(information);
  return chosen;
}

}  // namespace pivotrace

#include "results/change_errors.h"

#include <algorithm>
#include <cmath>

namespace pivotrace {

namespace {

std::vector<Eigen::Index> places(const JointCovariance& covariance,
                                 const std::vector<ValueName>& names) {
  std::vector<Eigen::Index> found;
  for (const ValueName& name : names) {
    found.push_back(std::ranges::find(covariance.names, name) - covariance.names.begin());
  }
  return found;
}

bool of_position(const SharedTerm& term) {
  return term.kind == SharedTerm::Kind::index_error || term.kind == SharedTerm::Kind::axis_motion;
}

bool is_bounded(const SharedTerm& term) { return !(term.u > 0.0); }

/// Components whose length is limited together; -1: each by itself.
int body_of(const EffectName& effect) {
  switch (effect.kind) {
    case EffectKind::lobing:
    case EffectKind::creep: return 0;
    case EffectKind::index_wave: return effect.axis;
    case EffectKind::bow: return effect.index / 3;
    default: return -1;
  }
}

/// One bounded column, on its way into the right effect.
struct BoundedColumn {
  EffectName effect;
  int owner = 0;  ///< 0 shared, 1 old, 2 new
  Eigen::VectorXd gains;
  double half_width = 0.0;

  bool belongs_to(const BoundedColumn& other) const {
    return owner == other.owner && effect.kind == other.effect.kind &&
           (body_of(effect) < 0 || body_of(effect) == body_of(other.effect));
  }
};

class Sum {
 public:
  Sum(const FitResult& old_result, const FitResult& new_result, const std::vector<ValueName>& names)
      : old_(old_result),
        new_(new_result),
        old_at_(places(old_result.covariance, names)),
        new_at_(places(new_result.covariance, names)),
        common_(in_common(old_result, new_result)) {
    const auto n = static_cast<Eigen::Index>(names.size());
    errors_.bias = BiasColumns(n);
    errors_.shared_random = errors_.stated = Eigen::MatrixXd::Zero(n, n);
    errors_.old_part = own_part(old_, old_at_);
    errors_.new_part = own_part(new_, new_at_);
    if (tells_groups(old_) && tells_groups(new_)) gather_groups();
  }

  ChangeErrors run() {
    std::vector<bool> met(new_.gains.terms.size(), false);
    for (const SharedTerm& before : old_.gains.terms) {
      const auto after = std::ranges::find_if(
          new_.gains.terms, [&](const SharedTerm& term) { return same_term(before, term); });
      if (after == new_.gains.terms.end() || !common_.holds(before)) {
        add_own(before, old_at_, 1);
        continue;
      }
      met[static_cast<std::size_t>(after - new_.gains.terms.begin())] = true;
      add_shared(before, *after);
    }
    for (std::size_t k = 0; k < met.size(); ++k) {
      if (!met[k]) add_own(new_.gains.terms[k], new_at_, 2);
    }
    for (const FitResult* result : {&old_, &new_}) add_unsigned_bounds(*result);
    gather_columns();
    return std::move(errors_);
  }

 private:
  static bool has_gains(const FitResult& result) { return !result.gains.terms.empty(); }

  static Eigen::MatrixXd own_part(const FitResult& result, const std::vector<Eigen::Index>& at) {
    const JointCovariance& joint = result.covariance;
    return (has_gains(result) ? joint.repeatable : joint.absolute)(at, at);
  }

  static Eigen::MatrixXd squared(const Eigen::VectorXd& gains, double variance) {
    return variance * gains * gains.transpose();
  }

  void add_own(const SharedTerm& term, const std::vector<Eigen::Index>& at, int owner) {
    const Eigen::VectorXd gains = term.gains(at);
    if (is_bounded(term)) {
      columns_.push_back(
          {term.effect, owner, owner == 1 ? Eigen::VectorXd(-gains) : gains, term.half_width});
    } else if (!of_position(term)) {
      errors_.stated += squared(gains, term.u * term.u);
    }
  }

  void add_shared(const SharedTerm& before, const SharedTerm& after) {
    const Eigen::VectorXd old_gains = before.gains(old_at_);
    const Eigen::VectorXd new_gains = after.gains(new_at_);
    const Eigen::VectorXd change = new_gains - old_gains;
    if (is_bounded(before)) {
      columns_.push_back({before.effect, 0, change, std::max(before.half_width, after.half_width)});
      return;
    }
    // Each survey estimated the size of what both have: their mean stands for it.
    const double variance = 0.5 * (before.u * before.u + after.u * after.u);
    if (!of_position(before)) {
      errors_.stated += squared(change, variance);
      return;
    }
    errors_.old_part -= squared(old_gains, before.u * before.u);
    errors_.new_part -= squared(new_gains, after.u * after.u);
    errors_.shared_random += squared(change, variance);
    if (errors_.uncertain_parts.empty()) return;
    const Eigen::MatrixXd half = 0.5 * squared(change, variance);
    add_to_part(old_, 0, before, half - squared(old_gains, before.u * before.u));
    add_to_part(new_, old_.covariance.groups.size(), after,
                half - squared(new_gains, after.u * after.u));
  }

  static bool tells_groups(const FitResult& result) {
    const auto count = static_cast<Eigen::Index>(result.covariance.groups.size());
    return has_gains(result) && count > 0 && result.covariance.group_errors.rows() == count &&
           result.covariance.group_errors.allFinite();
  }

  void gather_groups() {
    const std::vector<VarianceGroup>& old_groups = old_.covariance.groups;
    const std::vector<VarianceGroup>& new_groups = new_.covariance.groups;
    for (const VarianceGroup& group : old_groups) {
      errors_.uncertain_parts.emplace_back(group.part(old_at_, old_at_));
    }
    for (const VarianceGroup& group : new_groups) {
      errors_.uncertain_parts.emplace_back(group.part(new_at_, new_at_));
    }
    const Eigen::MatrixXd& before = old_.covariance.group_errors;
    const Eigen::MatrixXd& after = new_.covariance.group_errors;
    Eigen::MatrixXd across = Eigen::MatrixXd::Zero(before.rows(), after.rows());
    for (std::size_t g = 0; g < old_groups.size(); ++g) {
      const auto same = std::ranges::find(new_groups, old_groups[g].source, &VarianceGroup::source);
      if (same == new_groups.end()) continue;
      const double dof = std::min(old_groups[g].stated_dof, same->stated_dof);
      if (!std::isfinite(dof)) continue;
      across += 0.5 * dof * before.col(static_cast<Eigen::Index>(g)) *
                after.row(same - new_groups.begin());
    }
    VarianceErrors& errors = errors_.part_errors;
    errors.covariance.resize(before.rows() + after.rows(), before.rows() + after.rows());
    errors.covariance << before, across, across.transpose(), after;
    errors.means.resize(errors.count());
    errors.means << means_of_groups(old_.covariance), means_of_groups(new_.covariance);
  }

  static Eigen::VectorXd means_of_groups(const JointCovariance& covariance) {
    Eigen::VectorXd stated_dof(covariance.group_errors.rows());
    for (std::size_t g = 0; g < covariance.groups.size(); ++g) {
      stated_dof[static_cast<Eigen::Index>(g)] = covariance.groups[g].stated_dof;
    }
    return variances_found_together(covariance.group_errors, stated_dof).means;
  }

  /// To the group a term of an index position belongs to; those of one result begin at `first`.
  void add_to_part(const FitResult& result, std::size_t first, const SharedTerm& term,
                   const Eigen::MatrixXd& what) {
    const SourceKind kind =
        term.kind == SharedTerm::Kind::index_error ? SourceKind::index : SourceKind::motion;
    const std::vector<VarianceGroup>& groups = result.covariance.groups;
    const auto group =
        std::ranges::find(groups, BudgetSource{kind, term.axis, {}}, &VarianceGroup::source);
    if (group == groups.end()) return;
    errors_.uncertain_parts[first + static_cast<std::size_t>(group - groups.begin())] += what;
  }

  /// Of a result without gains only the size of each shift is known, not its direction: every value may be
  /// off by itself.
  void add_unsigned_bounds(const FitResult& result) {
    if (has_gains(result)) return;
    const std::vector<Eigen::Index>& at = &result == &old_ ? old_at_ : new_at_;
    Eigen::VectorXd squares = Eigen::VectorXd::Zero(errors_.bias.gains.rows());
    for (const BoundResult& bound : result.bounds) {
      if (bound.kind == BoundKind::between_surveys) continue;
      for (std::size_t i = 0; i < at.size(); ++i) {
        const ValueName& name = result.covariance.names[static_cast<std::size_t>(at[i])];
        for (const auto& [output, shift] : bound.shifts) {
          if (output == name) squares[static_cast<Eigen::Index>(i)] += shift * shift;
        }
      }
    }
    if (!(squares.maxCoeff() > 0.0)) return;
    const Eigen::Index n = squares.size();
    errors_.bias.add_each(Eigen::MatrixXd::Identity(n, n), squares.cwiseSqrt());
  }

  void gather_columns() {
    std::vector<bool> taken(columns_.size(), false);
    for (std::size_t k = 0; k < columns_.size(); ++k) {
      if (taken[k]) continue;
      std::vector<const BoundedColumn*> effect;
      for (std::size_t j = k; j < columns_.size(); ++j) {
        if (taken[j] || !columns_[j].belongs_to(columns_[k])) continue;
        taken[j] = true;
        effect.push_back(&columns_[j]);
      }
      const auto count = static_cast<Eigen::Index>(effect.size());
      Eigen::MatrixXd gains(errors_.bias.gains.rows(), count);
      Eigen::VectorXd widths(count);
      for (Eigen::Index j = 0; j < count; ++j) {
        gains.col(j) = effect[static_cast<std::size_t>(j)]->gains;
        widths[j] = effect[static_cast<std::size_t>(j)]->half_width;
      }
      errors_.bias.add(gains, widths, body_of(columns_[k].effect) >= 0);
    }
  }

  const FitResult& old_;
  const FitResult& new_;
  std::vector<Eigen::Index> old_at_;
  std::vector<Eigen::Index> new_at_;
  InCommon common_;
  std::vector<BoundedColumn> columns_;
  ChangeErrors errors_;
};

}  // namespace

void BiasColumns::add_each(const Eigen::MatrixXd& columns, const Eigen::VectorXd& widths) {
  for (Eigen::Index k = 0; k < columns.cols(); ++k) {
    add(columns.col(k), widths.segment<1>(k), false);
  }
}

void BiasColumns::add(const Eigen::MatrixXd& columns, const Eigen::VectorXd& widths,
                      bool by_length) {
  const Eigen::Index first = gains.cols();
  gains.conservativeResize(Eigen::NoChange, first + columns.cols());
  gains.rightCols(columns.cols()) = columns;
  half_widths.conservativeResize(first + columns.cols());
  half_widths.tail(columns.cols()) = widths;
  effects.push_back({first, columns.cols(), by_length});
}

Eigen::VectorXd BiasColumns::largest_shifts() const {
  Eigen::VectorXd squares = Eigen::VectorXd::Zero(gains.rows());
  for (const Effect& effect : effects) {
    const Eigen::MatrixXd scaled = gains.middleCols(effect.first, effect.count) *
                                   half_widths.segment(effect.first, effect.count).asDiagonal();
    if (effect.by_length) {
      squares += scaled.rowwise().squaredNorm();
    } else {
      squares += scaled.cwiseAbs().rowwise().sum().cwiseAbs2();
    }
  }
  return squares.cwiseSqrt();
}

ChangeErrors change_errors(const FitResult& old_result, const FitResult& new_result,
                           const std::vector<ValueName>& names) {
  return Sum(old_result, new_result, names).run();
}

}  // namespace pivotrace

#include "estimate/uncertainty.h"

#include <cmath>
#include <limits>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

double variance(const Eigen::MatrixXd& covariance, const Eigen::VectorXd& by_unknown) {
  return std::max(0.0, by_unknown.dot(covariance * by_unknown));
}

double u95(double u, double dof) { return u > 0.0 ? u * student_t_quantile(0.975, dof) : 0.0; }

}  // namespace

std::vector<CommonTerm> common_terms(const Machine& machine) {
  std::vector<CommonTerm> terms;
  const auto add = [&](EffectKind kind, int k, double u) {
    if (u > 0.0) terms.push_back({{kind, k}, u});
  };
  for (int k = 0; k < 3; ++k) add(EffectKind::stylus_offset, k, machine.probe.offset_u_mm[k]);
  for (int k = 0; k < 3; ++k) add(EffectKind::scale, k, machine.linear.scale_u[k]);
  for (int k = 0; k < 3; ++k) add(EffectKind::squareness, k, machine.linear.squareness_u_rad[k]);
  return terms;
}

std::vector<Effect> effects_of(const std::vector<CommonTerm>& terms) {
  std::vector<Effect> effects;
  effects.reserve(terms.size());
  for (const CommonTerm& term : terms) effects.push_back(term.effect);
  return effects;
}

Uncertainty::Uncertainty(const Model& model, const Adjusted& adjusted,
                         const ChosenVariances& variances, const std::vector<CommonTerm>& common)
    : model_(model), variances_(variances), common_(common) {
  const Eigen::MatrixXd& inverse = adjusted.covariance();
  const VarianceSums sums = variance_sums(model, variances.random, adjusted);
  for (int g = 0; g < 2; ++g) by_group_[g] = inverse * sums.entering[g] * inverse;
  by_station_ = inverse * sums.entering_station * inverse;
  for (int axis = 0; axis < max_rotary_axes; ++axis) {
    by_index_[axis] = inverse * sums.entering_index[axis] * inverse;
  }
  repeatable_ = by_group_[0] + by_group_[1];
  Eigen::MatrixXd prior = Eigen::MatrixXd::Zero(inverse.rows(), inverse.cols());
  const auto& groups = model.layout().radius_groups;
  for (std::size_t g = 0; g < groups.size(); ++g) {
    for (std::size_t h = 0; h < groups.size(); ++h) {
      prior(groups[g].unknown, groups[h].unknown) = model.radius_prior().precision(
          static_cast<Eigen::Index>(g), static_cast<Eigen::Index>(h));
    }
  }
  by_prior_ = inverse * prior * inverse;
  by_common_ = adjusted.by_common;
  for (std::size_t k = 0; k < common.size(); ++k)
    by_common_.col(static_cast<Eigen::Index>(k)) *= common[k].u;
  absolute_ = repeatable_ + by_prior_ + by_common_ * by_common_.transpose();
}

void Uncertainty::inflate(double chi2_per_dof, double dof) {
  inflation_ = chi2_per_dof;
  inflation_dof_ = dof;
  absolute_ += (chi2_per_dof - 1.0) * repeatable_;
  repeatable_ *= chi2_per_dof;
}

double Uncertainty::degrees_of_freedom(const Eigen::VectorXd& by_unknown) const {
  if (inflation_dof_ > 0.0) return inflation_dof_;
  Eigen::Vector2d parts;
  for (int g = 0; g < 2; ++g) parts[g] = variance(by_group_[g], by_unknown);
  const double spread = parts.dot(variances_.factor_covariance * parts);
  const double total = parts.sum();
  if (!(spread > 0.0) || !(total > 0.0)) return infinite;
  return 2.0 * total * total / spread;
}

Estimate Uncertainty::estimate(double value, const Eigen::VectorXd& by_unknown) const {
  Estimate estimate;
  estimate.value = value;
  const double random_variance = variance(repeatable_, by_unknown);
  const double all_variance = variance(absolute_, by_unknown);
  estimate.u = std::sqrt(random_variance);
  estimate.u_absolute = std::sqrt(all_variance);
  estimate.dof = degrees_of_freedom(by_unknown);
  estimate.U95 = u95(estimate.u, estimate.dof);
  // Welch-Satterthwaite: common-mode terms come from the machine file and carry no spread of their own.
  double dof_absolute = infinite;
  if (std::isfinite(estimate.dof) && random_variance > 0.0) {
    const double ratio = all_variance / random_variance;
    dof_absolute = estimate.dof * ratio * ratio;
  }
  estimate.U95_absolute = u95(estimate.u_absolute, dof_absolute);
  return estimate;
}

std::vector<BudgetLine> Uncertainty::budget(const ValueName& output,
                                            const Eigen::VectorXd& by_unknown) const {
  const double total = variance(absolute_, by_unknown);
  std::vector<BudgetLine> lines;
  if (!(total > 0.0)) return lines;
  const auto add = [&](const BudgetSource& source, double part) {
    if (part > 0.0) lines.push_back({output, source, part / total});
  };
  const Machine& machine = model_.machine();
  const RandomModel& random = variances_.random;
  const double form_share =
      std::min(1.0, std::pow(random.form_sigma_mm / random.touch_sigma_mm, 2));
  const double touch_part = inflation_ * variance(by_group_[0], by_unknown);
  add({SourceKind::touch_noise, '\0', {}}, (1.0 - form_share) * touch_part);
  add({SourceKind::ball_form, '\0', {}}, form_share * touch_part);
  add({SourceKind::station, '\0', {}}, inflation_ * variance(by_station_, by_unknown));
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    add({SourceKind::index, machine.rotary[axis].letter, {}},
        inflation_ * variance(by_index_[axis], by_unknown));
  }
  add({SourceKind::diameters, '\0', {}}, variance(by_prior_, by_unknown));
  for (std::size_t k = 0; k < common_.size(); ++k) {
    const double moved = by_common_.col(static_cast<Eigen::Index>(k)).dot(by_unknown);
    add({SourceKind::effect, '\0', name_of(machine, common_[k].effect)}, moved * moved);
  }
  return lines;
}

Eigen::VectorXd differences(const Eigen::VectorXd& at,
                            const std::function<double(const Eigen::VectorXd&)>& function) {
  constexpr double step = 1e-5;
  Eigen::VectorXd derivatives(at.size());
  Eigen::VectorXd moved = at;
  for (Eigen::Index k = 0; k < at.size(); ++k) {
    moved[k] = at[k] + step;
    const double above = function(moved);
    moved[k] = at[k] - step;
    const double below = function(moved);
    moved[k] = at[k];
    derivatives[k] = (above - below) / (2.0 * step);
  }
  return derivatives;
}

}  // namespace pivotrace

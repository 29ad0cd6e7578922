#include "estimate/uncertainty.h"

#include <Eigen/Geometry>
#include <cmath>
#include <limits>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

double variance(const Eigen::MatrixXd& covariance, const Eigen::VectorXd& by_unknown) {
  return std::max(0.0, by_unknown.dot(covariance * by_unknown));
}

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

std::vector<Effect> asked_effects(const Machine& machine) {
  std::vector<Effect> effects = effects_of(common_terms(machine));
  const std::vector<Effect> bounded = effects_of(bound_terms(machine));
  effects.insert(effects.end(), bounded.begin(), bounded.end());
  return effects;
}

namespace {

/// How the unknowns of all axis lines move when everything is shifted along X, Y, Z, (p x 3).
Eigen::MatrixXd translations(const Model& model) {
  Eigen::MatrixXd by = Eigen::MatrixXd::Zero(model.layout().unknowns, 3);
  for (std::size_t axis = 0; axis < model.layout().axis_first.size(); ++axis) {
    const int first = model.layout().axis_first[axis];
    if (first < 0) continue;
    const CrossPair& cross = model.axis_chart(static_cast<int>(axis)).cross();
    by.row(first) = cross.first.transpose();
    by.row(first + 1) = cross.second.transpose();
  }
  return by;
}

/// Of every group by itself, from the covariance of the relative variances: a variance known with n
/// degrees of freedom varies by 2 / n.
Eigen::VectorXd widenings(const Eigen::MatrixXd& relative) {
  Eigen::VectorXd wider(relative.rows());
  for (Eigen::Index g = 0; g < wider.size(); ++g) {
    wider[g] = relative(g, g) > 0.0 ? square_widening(2.0 / relative(g, g)) : 0.0;
  }
  return wider;
}

bool between_surveys(const BoundTerm& term) {
  return term.bound.kind == BoundKind::between_surveys;
}

/// Whether two surveys made alike differ by it.
bool differs(const BoundTerm& term) {
  return term.bound.kind == BoundKind::drift || between_surveys(term);
}

}  // namespace

Uncertainty::Uncertainty(const Model& model, const Adjusted& adjusted,
                         const ChosenVariances& variances, const std::vector<CommonTerm>& common,
                         const std::vector<BoundTerm>& bounds)
    : model_(model), variances_(variances), common_(common), bounds_(bounds) {
  const Eigen::MatrixXd& inverse = adjusted.covariance();
  VarianceSums sums = variance_sums(model, variances.random, adjusted);
  by_group_ = std::move(sums.of_unknowns);
  widening_of_group_ = widenings(variances.factor_covariance);
  repeatable_ = Eigen::MatrixXd::Zero(inverse.rows(), inverse.cols());
  for (const Eigen::MatrixXd& part : by_group_) repeatable_ += part;
  Eigen::MatrixXd prior = Eigen::MatrixXd::Zero(inverse.rows(), inverse.cols());
  const auto& groups = model.layout().radius_groups;
  for (std::size_t g = 0; g < groups.size(); ++g) {
    for (std::size_t h = 0; h < groups.size(); ++h) {
      prior(groups[g].unknown, groups[h].unknown) = model.radius_prior().precision(
          static_cast<Eigen::Index>(g), static_cast<Eigen::Index>(h));
    }
  }
  by_prior_ = inverse * prior * inverse;
  const auto terms = static_cast<Eigen::Index>(common.size());
  by_common_ = adjusted.by_common.leftCols(terms);
  for (Eigen::Index k = 0; k < terms; ++k) by_common_.col(k) *= common[k].u;
  by_bound_ = adjusted.by_common.rightCols(adjusted.by_common.cols() - terms);
  by_translation_ = translations(model);
  absolute_ = repeatable_ + by_prior_ + by_common_ * by_common_.transpose();
}

Eigen::VectorXd Uncertainty::group_variances(const Eigen::VectorXd& by_unknown) const {
  Eigen::VectorXd parts(static_cast<Eigen::Index>(by_group_.size()));
  for (std::size_t g = 0; g < by_group_.size(); ++g) {
    parts[static_cast<Eigen::Index>(g)] = variance(by_group_[g], by_unknown);
  }
  return parts;
}

// What the survey tells of a sum of two groups and not of each (negative covariance) widens nothing: the
// widening shrinks as the variance of the whole does against that of the parts.
double Uncertainty::widening(const Eigen::VectorXd& by_unknown) const {
  const Eigen::VectorXd parts = group_variances(by_unknown);
  const Eigen::MatrixXd& relative = variances_.factor_covariance;
  const double each = parts.cwiseAbs2().dot(relative.diagonal());
  if (!(each > 0.0)) return 0.0;
  const double together = std::max(0.0, parts.dot(relative * parts));
  return std::min(1.0, together / each) * parts.dot(widening_of_group_) / parts.sum();
}

double Uncertainty::degrees_of_freedom(const Eigen::VectorXd& by_unknown) const {
  return dof_of_square_widening(widening(by_unknown));
}

double Uncertainty::dof_of_variance(const Eigen::VectorXd& by_unknown) const {
  const Eigen::VectorXd parts = group_variances(by_unknown);
  const double spread = parts.dot(variances_.factor_covariance * parts);
  const double total = parts.sum();
  if (!(spread > 0.0) || !(total > 0.0)) return infinite;
  return 2.0 * total * total / spread;
}

std::vector<double> Uncertainty::shifts(const Eigen::VectorXd& by_unknown) const {
  std::vector<double> shifts;
  Eigen::Index at = 0;
  for (const BoundTerm& term : bounds_) {
    if (between_surveys(term)) {
      const Eigen::Vector3d moved = by_translation_.transpose() * by_unknown;
      shifts.push_back(term.bound.half_width * moved.cwiseAbs().sum());
      continue;
    }
    const auto count = static_cast<Eigen::Index>(term.effects.size());
    shifts.push_back(term.largest_shift(by_bound_.middleCols(at, count).transpose() * by_unknown));
    at += count;
  }
  return shifts;
}

Estimate Uncertainty::estimate(double value, const Eigen::VectorXd& by_unknown) const {
  return estimate(value, by_unknown, Beside{});
}

double Uncertainty::absolute_variance(const Eigen::VectorXd& by_unknown,
                                      const Beside& beside) const {
  double sum = variance(repeatable_, by_unknown) + variance(by_prior_, by_unknown) +
               beside.further_u * beside.further_u;
  for (std::size_t k = 0; k < common_.size(); ++k) {
    double moved = by_common_.col(static_cast<Eigen::Index>(k)).dot(by_unknown);
    if (common_[k].effect.kind == EffectKind::stylus_offset) {
      moved += common_[k].u * beside.by_stylus[common_[k].effect.index];
    }
    sum += moved * moved;
  }
  return sum;
}

Estimate Uncertainty::estimate(double value, const Eigen::VectorXd& by_unknown,
                               const Beside& beside) const {
  Estimate estimate;
  estimate.value = value;
  const double random_variance = variance(repeatable_, by_unknown);
  const double all_variance = absolute_variance(by_unknown, beside);
  estimate.u = std::sqrt(random_variance);
  estimate.u_absolute = std::sqrt(all_variance);
  const double wider = widening(by_unknown);
  estimate.dof = dof_of_square_widening(wider);
  // Stated standard uncertainties of common terms carry no spread of their own.
  estimate.dof_absolute = random_variance > 0.0
                              ? dof_of_square_widening(wider * random_variance / all_variance)
                              : infinite;
  double differing = 0.0;
  double all = 0.0;
  const std::vector<double> shift = shifts(by_unknown);
  for (std::size_t k = 0; k < shift.size(); ++k) {
    if (differs(bounds_[k])) differing += shift[k] * shift[k];
    if (!between_surveys(bounds_[k])) all += shift[k] * shift[k];
  }
  estimate.B = std::sqrt(differing);
  estimate.B_absolute = std::sqrt(all);
  estimate.U95 = bounded_expanded(estimate.u, estimate.dof, estimate.B);
  estimate.U95_absolute =
      bounded_expanded(estimate.u_absolute, estimate.dof_absolute, estimate.B_absolute);
  return estimate;
}

BudgetSource Uncertainty::source_of_group(int group) const {
  if (group == touch_group) return {SourceKind::touch_noise, '\0', {}};
  if (group == station_group) return {SourceKind::station, '\0', {}};
  const SourceKind kind = is_index_group(group)    ? SourceKind::index
                          : is_repeat_group(group) ? SourceKind::index_repeat
                                                   : SourceKind::motion;
  return {kind, model_.machine().rotary[axis_of_group(group)].letter, {}};
}

std::vector<VarianceGroup> Uncertainty::groups(const Eigen::MatrixXd& by_unknown) const {
  std::vector<VarianceGroup> groups;
  for (std::size_t g = 0; g < by_group_.size(); ++g) {
    groups.push_back({source_of_group(variances_.groups[g]),
                      variances_.stated_dof[static_cast<Eigen::Index>(g)],
                      by_unknown * by_group_[g] * by_unknown.transpose()});
  }
  return groups;
}

/// A part is the square of a sum that is rounded to some 1e-16 of its terms: what is smaller than this share
/// of the whole is rounding, and comes out otherwise on another processor.
constexpr double rounding_share = 1e-24;

std::vector<BudgetLine> Uncertainty::budget(const ValueName& output,
                                            const Eigen::VectorXd& by_unknown,
                                            double further_u) const {
  const double total = variance(absolute_, by_unknown) + further_u * further_u;
  std::vector<BudgetLine> lines;
  if (!(total > 0.0)) return lines;
  const auto add = [&](const BudgetSource& source, double part) {
    if (part > rounding_share * total) lines.push_back({output, source, part / total});
  };
  const Machine& machine = model_.machine();
  const RandomModel& random = variances_.random;
  const double form_share =
      std::min(1.0, std::pow(random.form_sigma_mm / random.touch_sigma_mm, 2));
  for (std::size_t g = 0; g < by_group_.size(); ++g) {
    const int group = variances_.groups[g];
    const double part = variance(by_group_[g], by_unknown);
    const double form = group == touch_group ? form_share : 0.0;
    add(source_of_group(group), (1.0 - form) * part);
    add({SourceKind::ball_form, '\0', {}}, form * part);
  }
  add({SourceKind::diameters, '\0', {}}, variance(by_prior_, by_unknown));
  add({SourceKind::stated_artefact, '\0', {}}, further_u * further_u);
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

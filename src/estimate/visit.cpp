#include "pivotrace/estimate/visit.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "estimate/adjustment.h"
#include "estimate/fitted_survey.h"
#include "estimate/outputs.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

/// What is known of an unknown that no visit sees [mm or rad]: next to nothing.
constexpr double unseen_sigma = 100.0;
/// A shared effect of no size keeps its place and stays 0 [mm or rad].
constexpr double least_sigma = 1e-9;

/// U / u over B / u, B up to `table_end` u.
constexpr int table_steps = 512;
constexpr double table_end = 4.0;

std::array<double, table_steps + 1> expanded_table() {
  std::array<double, table_steps + 1> table{};
  for (int k = 0; k <= table_steps; ++k) {
    table[static_cast<std::size_t>(k)] =
        bounded_expanded(1.0, std::numeric_limits<double>::infinity(), table_end * k / table_steps);
  }
  return table;
}

/// Only some readings of a station.
StationBlock part_of(const StationBlock& whole, const std::vector<int>& rows) {
  StationBlock part;
  part.gap = whole.gap(rows);
  part.by_unknown = whole.by_unknown(rows, Eigen::all);
  part.by_nuisance = whole.by_nuisance(rows, Eigen::all);
  part.by_common = whole.by_common(rows, Eigen::all);
  part.by_shared = whole.by_shared(rows, Eigen::all);
  return part;
}

/// An angle's own error at every arrival adds to what the station has for itself.
void add_repeat(const RandomModel& random, int group, ActiveNuisances& own) {
  const int column = 3 + axis_of_group(group);
  const double sigma = random.sigma(group);
  for (int k = 0; k < own.count(); ++k) {
    if (own.columns[static_cast<std::size_t>(k)] != column) continue;
    own.sigma[k] = std::hypot(own.sigma[k], sigma);
    return;
  }
  own.columns.push_back(column);
  own.sigma.conservativeResize(own.count());
  own.sigma[own.count() - 1] = sigma;
}

}  // namespace

struct VisitMaker::Parts {
  Parts(const Machine& stated, Survey made, VisitOrder when)
      : machine(stated),
        stays(std::move(made)),
        model(machine, stays),
        random(stated_random_model(model)),
        unknowns(model.unknowns_from(nominal_state(machine))),
        at(model, unknowns),
        common(common_terms(machine)),
        terms(bound_terms(machine)),
        effects(asked_effects(machine)),
        order(when) {
    for (const SharedEffect& effect : model.shared().all) {
      shared.push_back({effect.axis, random.sigma(effect.group)});
    }
    const PriorRows prior = prior_rows(model, unknowns);
    known_before = prior.jacobian.transpose() * prior.jacobian;
    const std::vector<Output> outputs = axis_outputs(model, unknowns);
    by_unknown.resize(unknowns.size(), static_cast<Eigen::Index>(outputs.size()));
    for (std::size_t k = 0; k < outputs.size(); ++k) {
      names.push_back(outputs[k].name);
      by_unknown.col(static_cast<Eigen::Index>(k)) = outputs[k].by_unknown;
    }
  }

  const Machine machine;
  const Survey stays;
  const Model model;
  const RandomModel random;
  const Eigen::VectorXd unknowns;
  const Linearisation at;
  const std::vector<CommonTerm> common;
  const std::vector<BoundTerm> terms;
  const std::vector<Effect> effects;
  const VisitOrder order;
  std::vector<SharedPart> shared;
  Eigen::MatrixXd known_before;
  std::vector<ValueName> names;
  Eigen::MatrixXd by_unknown;
};

VisitMaker::VisitMaker(const Machine& machine, Survey stays, VisitOrder order)
    : parts_(std::make_unique<Parts>(machine, std::move(stays), order)) {}
VisitMaker::~VisitMaker() = default;
VisitMaker::VisitMaker(VisitMaker&&) noexcept = default;

int VisitMaker::unknowns() const { return parts_->model.layout().unknowns; }
int VisitMaker::effects() const { return static_cast<int>(parts_->effects.size()); }
int VisitMaker::common_effects() const { return static_cast<int>(parts_->common.size()); }
int VisitMaker::first_drift_effect() const {
  const auto creeps = [](const Effect& effect) { return effect.kind == EffectKind::creep; };
  const auto first = std::ranges::find_if(parts_->effects, creeps);
  return first == parts_->effects.end() ? -1 : static_cast<int>(first - parts_->effects.begin());
}
const std::vector<SharedPart>& VisitMaker::shared() const { return parts_->shared; }
const Eigen::MatrixXd& VisitMaker::known_before() const { return parts_->known_before; }
const std::vector<ValueName>& VisitMaker::names() const { return parts_->names; }
const Eigen::MatrixXd& VisitMaker::by_unknown() const { return parts_->by_unknown; }

Visit VisitMaker::visit(int stay, const std::vector<int>& touches) const {
  StationBlock whole;
  parts_->at.evaluate(stay, nullptr, whole, parts_->effects);
  if (const int drift = first_drift_effect(); drift >= 0 && parts_->order == VisitOrder::open) {
    whole.by_common.middleCols<3>(drift) = whole.by_nuisance.leftCols<3>();
  }
  const StationBlock block = part_of(whole, touches);
  ActiveNuisances own = own_nuisances(parts_->model, parts_->random, stay);
  Visit visit;
  std::vector<Eigen::Index> columns;
  const std::vector<int>& ids = parts_->model.shared().of_station[static_cast<std::size_t>(stay)];
  for (std::size_t k = 0; k < ids.size(); ++k) {
    const int group = parts_->model.shared().all[static_cast<std::size_t>(ids[k])].group;
    if (is_repeat_group(group)) {
      add_repeat(parts_->random, group, own);
      continue;
    }
    visit.shared.push_back(ids[k]);
    columns.push_back(static_cast<Eigen::Index>(k));
  }
  const StationWeight weight(block, parts_->random, own);
  const Eigen::Index p = unknowns();
  const auto a = static_cast<Eigen::Index>(columns.size());
  Eigen::MatrixXd joined(block.gap.size(), p + a + effects());
  joined << block.by_unknown, block.by_shared(Eigen::all, columns), block.by_common;
  const Eigen::MatrixXd whitened = weight.whiten(joined);
  visit.rows = whitened.leftCols(p + a);
  visit.effects = whitened.rightCols(effects());
  return visit;
}

Eigen::VectorXd VisitMaker::bounds() const {
  Eigen::VectorXd widths(effects() - common_effects());
  Eigen::Index at = 0;
  for (const BoundTerm& term : parts_->terms) {
    widths.segment(at, term.half_widths.size()) = term.half_widths;
    at += term.half_widths.size();
  }
  return widths;
}

Eigen::VectorXd VisitMaker::found_bounds(const Eigen::MatrixXd& covariance) const {
  std::vector<BoundTerm> terms = parts_->terms;
  const Eigen::VectorXd nothing_found = Eigen::VectorXd::Zero(covariance.rows());
  Eigen::VectorXd widths(effects() - common_effects());
  Eigen::Index at = 0;
  for (BoundTerm& term : terms) {
    const Eigen::Index count = term.half_widths.size();
    shrink_term(term, nothing_found.segment(at, count), covariance.block(at, at, count, count));
    widths.segment(at, count) = term.half_widths;
    at += count;
  }
  return widths;
}

Prospect VisitMaker::prospect(double variance, const Eigen::Ref<const Eigen::VectorXd>& response,
                              const Eigen::VectorXd& half_widths) const {
  double sum = variance;
  Eigen::Index at = 0;
  for (const CommonTerm& term : parts_->common) {
    const double moved = term.u * response[at++];
    sum += moved * moved;
  }
  double square = 0.0;
  Eigen::Index bounded = 0;
  for (const BoundTerm& term : parts_->terms) {
    const Eigen::Index count = term.half_widths.size();
    const double shift = term.largest_shift(response.segment(at + bounded, count),
                                            half_widths.segment(bounded, count));
    square += shift * shift;
    bounded += count;
  }
  return {std::sqrt(std::max(0.0, sum)), std::sqrt(square)};
}

double VisitMaker::expanded(const Prospect& prospect) {
  static const std::array<double, table_steps + 1> table = expanded_table();
  if (!(prospect.u > 0.0)) return prospect.B;
  const double ratio = prospect.B / prospect.u;
  if (!(ratio < table_end)) return prospect.u * (table.back() + ratio - table_end);
  const double at = ratio * table_steps / table_end;
  const auto below = static_cast<std::size_t>(at);
  const double part = at - static_cast<double>(below);
  return prospect.u * ((1.0 - part) * table[below] + part * table[below + 1]);
}

// ---------------------------------------------------------------------------------------- sum

VisitSum::VisitSum(const VisitMaker& maker) : maker_(maker) {}

bool VisitSum::take(const std::vector<const Visit*>& visits) {
  visits_ = visits;
  const Eigen::Index p = maker_.unknowns();
  slots_.assign(maker_.shared().size(), -1);
  Eigen::Index n = p;
  for (const Visit* visit : visits) {
    for (const int k : visit->shared) {
      if (slot(k) < 0) slots_[static_cast<std::size_t>(k)] = n++;
    }
  }
  information_.setZero(n, n);
  information_.topLeftCorner(p, p) = maker_.known_before();
  information_.diagonal().head(p).array() += 1.0 / (unseen_sigma * unseen_sigma);
  for (std::size_t k = 0; k < slots_.size(); ++k) {
    if (slots_[k] < 0) continue;
    const double sigma = std::max(maker_.shared()[k].sigma, least_sigma);
    information_(slots_[k], slots_[k]) = 1.0 / (sigma * sigma);
  }
  Eigen::MatrixXd with_effects = Eigen::MatrixXd::Zero(n, maker_.effects());
  std::vector<Eigen::Index> columns;
  for (const Visit* visit : visits) {
    columns.resize(static_cast<std::size_t>(visit->rows.cols()));
    for (Eigen::Index j = 0; j < visit->rows.cols(); ++j) {
      columns[static_cast<std::size_t>(j)] =
          j < p ? j : slot(visit->shared[static_cast<std::size_t>(j - p)]);
    }
    information_(columns, columns) += visit->rows.transpose() * visit->rows;
    with_effects(columns, Eigen::all) += visit->rows.transpose() * visit->effects;
  }
  const Eigen::LLT<Eigen::MatrixXd> factor(information_);
  if (factor.info() != Eigen::Success) return false;
  covariance_ = factor.solve(Eigen::MatrixXd::Identity(n, n));
  const Eigen::MatrixXd gains = covariance_.leftCols(p) * maker_.by_unknown();
  const Eigen::MatrixXd biases = covariance_ * with_effects;
  variances_ = (maker_.by_unknown().transpose() * gains.topRows(p)).diagonal();
  responses_ = -biases.topRows(p).transpose() * maker_.by_unknown();
  across_.resize(p + gains.cols() + biases.cols(), n);
  across_ << covariance_.topRows(p), gains.transpose(), biases.transpose();
  return variances_.allFinite() && variances_.minCoeff() > 0.0;
}

/// What the readings of a visit see of columns of the sum, a column each. Products of few columns as long as can be, none
/// worth packing.
void VisitSum::add_up_along(const Visit& visit, const Eigen::MatrixXd& of_sum,
                            Eigen::MatrixXd& seen) const {
  const Eigen::Index p = maker_.unknowns();
  seen.noalias() = of_sum.leftCols(p).lazyProduct(visit.rows.leftCols(p).transpose());
  for (std::size_t j = 0; j < visit.shared.size(); ++j) {
    if (slot(visit.shared[j]) < 0) continue;
    const auto column = visit.rows.col(p + static_cast<Eigen::Index>(j));
    seen.noalias() += of_sum.col(slot(visit.shared[j])) * column.transpose();
  }
}

/// B V (the first p of its columns), B G and B H less the visit's own effects, and I + B V B'.
void VisitSum::look_with(const Visit& visit) {
  add_up_along(visit, across_, seen_);
  fill_inner(visit);
  seen_.bottomRows(responses_.rows()) -= visit.effects.transpose();
}

/// I + B V B', its part through the shared effects one by one: what the visit alone feels has its prior.
void VisitSum::fill_inner(const Visit& visit) {
  const Eigen::Index p = maker_.unknowns();
  const auto of_unknowns = visit.rows.leftCols(p);
  inner_.noalias() = seen_.topRows(p).transpose().lazyProduct(of_unknowns.transpose());
  inner_.diagonal().array() += 1.0;
  for (std::size_t j = 0; j < visit.shared.size(); ++j) {
    const auto column = visit.rows.col(p + static_cast<Eigen::Index>(j));
    const Eigen::Index from = slot(visit.shared[j]);
    if (from < 0) {
      const double sigma = maker_.shared()[static_cast<std::size_t>(visit.shared[j])].sigma;
      part_.noalias() = sigma * sigma * column;
    } else {
      part_.noalias() = of_unknowns.lazyProduct(covariance_.col(from).head(p));
      for (std::size_t i = 0; i < visit.shared.size(); ++i) {
        const Eigen::Index other = slot(visit.shared[i]);
        if (other < 0) continue;
        part_ += covariance_(other, from) * visit.rows.col(p + static_cast<Eigen::Index>(i));
      }
    }
    inner_.noalias() += part_ * column.transpose();
  }
}

// With V the covariance, G = V C the gains of the values C, H = sum R'E: the visit (B, E) makes
// S = I + B V B', X = S^-1 B G, var = var - (B G)'X, and B G_new = X, so that
// G_new'(H + B'E) = G'H + X'(E - B V H). Derived here.
void VisitSum::with(const Visit& visit, Eigen::VectorXd& variances, Eigen::MatrixXd& responses) {
  look_with(visit);
  const Eigen::Index values = variances_.size();
  const auto moved = seen_.middleRows(maker_.unknowns(), values);
  const auto left = seen_.bottomRows(responses_.rows());
  factor_.compute(inner_);
  divide_by_factor(seen_.bottomRows(values + responses_.rows()));
  variances = variances_ - moved.rowwise().squaredNorm();
  responses = responses_;
  responses.noalias() += left.lazyProduct(moved.transpose());
}

/// rows L^-T: few columns, as long as can be.
void VisitSum::divide_by_factor(Eigen::Ref<Eigen::MatrixXd> rows) const {
  const Eigen::MatrixXd& lower = factor_.matrixLLT();
  for (Eigen::Index i = 0; i < lower.rows(); ++i) {
    for (Eigen::Index j = 0; j < i; ++j) rows.col(i) -= lower(i, j) * rows.col(j);
    rows.col(i) /= lower(i, i);
  }
}

// The other way: S = I - B V B', V_less = V + V B'S^-1 B V, and the same of G and H.
bool VisitSum::take_without(const VisitSum& whole, const Visit& visit) {
  slots_ = whole.slots_;
  visits_.clear();
  covariance_ = whole.covariance_;
  across_ = whole.across_;
  variances_ = whole.variances_;
  responses_ = whole.responses_;
  look_with(visit);
  // Of what the sum knows, the visit alone must not be all.
  constexpr double least_left = 1e-3;
  inner_ = -inner_;
  inner_.diagonal().array() += 2.0;
  factor_.compute(inner_);
  if (factor_.info() != Eigen::Success || factor_.matrixLLT().diagonal().minCoeff() < least_left) {
    return false;
  }
  Eigen::MatrixXd reached;
  add_up_along(visit, covariance_, reached);
  divide_by_factor(reached);
  divide_by_factor(seen_);
  covariance_.noalias() += reached * reached.transpose();
  across_.noalias() += seen_ * reached.transpose();
  const auto moved = seen_.middleRows(maker_.unknowns(), variances_.size());
  variances_ += moved.rowwise().squaredNorm();
  responses_.noalias() -= seen_.bottomRows(responses_.rows()) * moved.transpose();
  return variances_.allFinite();
}

Eigen::MatrixXd VisitSum::part_of_responses(const Visit& visit) {
  add_up_along(visit, across_, seen_);
  const auto moved = seen_.middleRows(maker_.unknowns(), variances_.size());
  return -visit.effects.transpose() * moved.transpose();
}

Eigen::VectorXd VisitSum::found_bounds() const {
  const Eigen::Index n = information_.rows();
  const Eigen::Index e = maker_.effects() - maker_.common_effects();
  if (e == 0) return {};
  const Eigen::VectorXd widths = maker_.bounds();
  // The information of the effects once unknowns and shared effects are taken out.
  Eigen::MatrixXd cross = Eigen::MatrixXd::Zero(n, e);
  Eigen::MatrixXd own = Eigen::MatrixXd::Zero(e, e);
  own.diagonal() = widths.cwiseAbs2().cwiseInverse();
  for (const Visit* visit : visits_) {
    const auto bounded = visit->effects.rightCols(e);
    own += bounded.transpose() * bounded;
    const Eigen::MatrixXd part = visit->rows.transpose() * bounded;
    const Eigen::Index p = maker_.unknowns();
    cross.topRows(p) += part.topRows(p);
    for (std::size_t k = 0; k < visit->shared.size(); ++k) {
      cross.row(slot(visit->shared[k])) += part.row(p + static_cast<Eigen::Index>(k));
    }
  }
  own -= cross.transpose() * covariance_ * cross;
  const Eigen::LLT<Eigen::MatrixXd> factor(own);
  if (factor.info() != Eigen::Success) return widths;
  return maker_.found_bounds(factor.solve(Eigen::MatrixXd::Identity(e, e)));
}

}  // namespace pivotrace

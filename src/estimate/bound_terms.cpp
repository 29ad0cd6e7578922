#include "estimate/bound_terms.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "estimate/joint_information.h"

namespace pivotrace {

namespace {

void add_effects(BoundTerm& term, EffectKind kind, int first, int count) {
  for (int k = 0; k < count; ++k) term.effects.push_back({kind, first + k});
}

/// Directions of which a standard uncertainty is stated are left to it.
void add_unstated(BoundTerm& term, EffectKind kind, const std::array<double, 3>& stated_u) {
  for (int k = 0; k < 3; ++k) {
    if (stated_u[static_cast<std::size_t>(k)] == 0.0) term.effects.push_back({kind, k});
  }
}

BoundTerm term_of(const Machine& machine, const Bound& bound) {
  BoundTerm term;
  term.bound = bound;
  switch (bound.kind) {
    case BoundKind::lobing: add_effects(term, EffectKind::lobing, 0, 2); break;
    case BoundKind::drift: add_effects(term, EffectKind::creep, 0, 3); break;
    case BoundKind::squareness:
      add_unstated(term, EffectKind::squareness, machine.linear.squareness_u_rad);
      break;
    case BoundKind::scale: add_unstated(term, EffectKind::scale, machine.linear.scale_u); break;
    case BoundKind::place: add_effects(term, EffectKind::bow, 0, 9); break;
    case BoundKind::index_wave: add_effects(term, EffectKind::index_wave, 4 * bound.axis, 4); break;
    case BoundKind::between_surveys: break;
  }
  term.half_widths =
      Eigen::VectorXd::Constant(static_cast<Eigen::Index>(term.effects.size()), bound.half_width);
  return term;
}

/// So many components after one another share one limit on their length.
int shared_length(const BoundTerm& term) {
  switch (term.bound.kind) {
    case BoundKind::lobing:
    case BoundKind::drift:
    case BoundKind::index_wave: return std::max(1, static_cast<int>(term.effects.size()));
    case BoundKind::place: return 3;
    default: return 1;
  }
}

}  // namespace

double BoundTerm::largest_shift(const Eigen::VectorXd& response) const {
  return largest_shift(response, half_widths);
}

double BoundTerm::largest_shift(const Eigen::Ref<const Eigen::VectorXd>& response,
                                const Eigen::Ref<const Eigen::VectorXd>& widths) const {
  const int count = shared_length(*this);
  double shift = 0.0;
  for (Eigen::Index first = 0; first < response.size(); first += count) {
    shift += widths[first] * response.segment(first, count).norm();
  }
  return shift;
}

std::vector<BoundTerm> bound_terms(const Machine& machine) {
  std::vector<BoundTerm> terms;
  for (const Bound& bound : bounds_in_force(machine)) terms.push_back(term_of(machine, bound));
  return terms;
}

std::vector<Effect> effects_of(const std::vector<BoundTerm>& terms) {
  std::vector<Effect> effects;
  for (const BoundTerm& term : terms) {
    effects.insert(effects.end(), term.effects.begin(), term.effects.end());
  }
  return effects;
}

namespace {

/// The survey with all bounded effects solved for beside the unknowns.
InformationSolution with_effects(const Model& model, const RandomModel& random,
                                 const Adjusted& adjusted, const std::vector<Effect>& effects,
                                 const Eigen::VectorXd& beforehand) {
  const Linearisation at(model, adjusted.unknowns);
  const int p = model.layout().unknowns;
  const auto count = static_cast<int>(effects.size());
  JointInformation information(model.shared(), p + count);
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    const int station = static_cast<int>(s);
    at.evaluate(station, nullptr, block, effects);
    const StationWeight weight(block, random, own_nuisances(model, random, station));
    const Eigen::Index a = block.by_shared.cols();
    Eigen::MatrixXd joined(block.gap.size(), a + p + count + 1);
    joined << block.by_shared, block.by_unknown, block.by_common, block.gap;
    const Eigen::MatrixXd whitened = weight.whiten(joined);
    information.add_station(station, whitened.leftCols(a), whitened.middleCols(a, p + count),
                            whitened.rightCols<1>());
  }
  information.add_prior(shared_sigmas(model, random));
  const PriorRows prior = prior_rows(model, adjusted.unknowns);
  Eigen::MatrixXd wide = Eigen::MatrixXd::Zero(prior.jacobian.rows() + count, p + count);
  wide.topLeftCorner(prior.jacobian.rows(), p) = prior.jacobian;
  wide.bottomRightCorner(count, count).diagonal() = beforehand.cwiseInverse();
  Eigen::VectorXd residual = Eigen::VectorXd::Zero(wide.rows());
  residual.head(prior.residual.size()) = prior.residual;
  information.add(wide, residual);
  return information.solve(1e-14).unknowns;
}

bool already_solved_for(const Model& model, const Effect& effect) {
  for (const Effect& known : model.layout().effects) {
    const bool creep = known.kind == EffectKind::drift && effect.kind == EffectKind::creep;
    if (known == effect || (creep && known.index == effect.index)) return true;
  }
  return false;
}

}  // namespace

void shrink_to_found(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                     std::vector<BoundTerm>& terms) {
  const std::vector<Effect> effects = effects_of(terms);
  if (effects.empty()) return;
  const int p = model.layout().unknowns;
  Eigen::VectorXd beforehand(static_cast<Eigen::Index>(effects.size()));
  Eigen::Index at = 0;
  for (const BoundTerm& term : terms) {
    beforehand.segment(at, term.half_widths.size()) = term.half_widths;
    at += term.half_widths.size();
  }
  const InformationSolution solution = with_effects(model, random, adjusted, effects, beforehand);
  if (!solution.full_rank()) return;
  at = p;
  for (BoundTerm& term : terms) {
    const Eigen::Index count = term.half_widths.size();
    shrink_term(term, solution.step.segment(at, count),
                solution.covariance.block(at, at, count, count), &model);
    at += count;
  }
}

void shrink_term(BoundTerm& term, const Eigen::VectorXd& found_size,
                 const Eigen::MatrixXd& covariance, const Model* model) {
  constexpr double two_sided_95 = 1.959963984540054;
  const int count = shared_length(term);
  for (Eigen::Index first = 0; first < term.half_widths.size(); first += count) {
    const auto part = covariance.block(first, first, count, count);
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(part, Eigen::EigenvaluesOnly);
    const double u = std::sqrt(std::max(0.0, eigen.eigenvalues().maxCoeff()));
    double found = found_size.segment(first, count).norm() + two_sided_95 * u;
    if (model != nullptr && already_solved_for(*model, term.effects[first])) found = 0.0;
    if (found >= term.half_widths[first]) continue;
    term.half_widths.segment(first, count).setConstant(found);
    term.bound.source = BoundSource::found;
  }
  if (term.half_widths.size() > 0) term.bound.half_width = term.half_widths.maxCoeff();
}

}  // namespace pivotrace

#include "estimate/optional_unknowns.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "estimate/linearisation.h"
#include "estimate/uncertainty.h"
#include "estimate/variance_components.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

const char* optional_unknown_word(OptionalUnknown unknown) {
  switch (unknown) {
    case OptionalUnknown::drift: return "drift";
    case OptionalUnknown::stylus_offset: return "stylus-offset";
    case OptionalUnknown::lobing: return "lobing";
    case OptionalUnknown::reversal: return "reversal";
    case OptionalUnknown::squareness: return "squareness";
    case OptionalUnknown::scale: return "scale";
  }
  return "";
}

namespace {

int machine_axis_of(const Eigen::Vector3d& direction) {
  Eigen::Index largest = 0;
  direction.cwiseAbs().maxCoeff(&largest);
  return static_cast<int>(largest);
}

/// Squareness index of the plane of two machine axes: XY 0, YZ 1, ZX 2.
int plane_index(int first, int second) {
  const int missing = 3 - first - second;
  return (missing + 1) % 3;
}

void add_once(std::vector<Effect>& effects, Effect effect) {
  for (const Effect& known : effects) {
    if (known.kind == effect.kind && known.index == effect.index) return;
  }
  effects.push_back(effect);
}

void add_plane_effects(const Model& model, OptionalUnknown unknown, std::vector<Effect>& effects) {
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (!model.axis_turned(static_cast<int>(axis))) continue;
    const CrossPair& cross = model.axis_chart(static_cast<int>(axis)).cross();
    const int first = machine_axis_of(cross.first);
    const int second = machine_axis_of(cross.second);
    if (unknown == OptionalUnknown::squareness) {
      add_once(effects, {EffectKind::squareness, plane_index(first, second)});
    } else {
      add_once(effects, {EffectKind::scale, second});
    }
  }
}

}  // namespace

std::vector<Effect> effects_for(const Model& model, OptionalUnknown unknown) {
  std::vector<Effect> effects;
  switch (unknown) {
    case OptionalUnknown::drift:
      for (int k = 0; k < 3; ++k) effects.push_back({EffectKind::drift, k});
      break;
    case OptionalUnknown::stylus_offset:
      for (int k = 0; k < 2; ++k) effects.push_back({EffectKind::stylus_offset, k});
      break;
    case OptionalUnknown::lobing:
      for (int k = 0; k < 2; ++k) effects.push_back({EffectKind::lobing, k});
      break;
    case OptionalUnknown::reversal:
      for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
        if (model.axis_turned(static_cast<int>(axis))) {
          effects.push_back({EffectKind::reversal, static_cast<int>(axis)});
        }
      }
      break;
    case OptionalUnknown::squareness:
    case OptionalUnknown::scale: add_plane_effects(model, unknown, effects); break;
  }
  return effects;
}

std::vector<Effect> effects_for(const Model& model, const std::vector<OptionalUnknown>& unknowns) {
  std::vector<Effect> effects;
  for (const OptionalUnknown unknown : unknowns) {
    for (const Effect& effect : effects_for(model, unknown)) add_once(effects, effect);
  }
  return effects;
}

ExtraTest test_extra(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                     int count,
                     const std::function<Eigen::MatrixXd(int, const StationBlock&)>& columns) {
  ExtraTest test;
  const int left_over = adjusted.redundancy - count;
  if (count == 0 || left_over < 1) return test;
  const ActiveNuisances active = active_nuisances(random);
  const Linearisation at(model, adjusted.unknowns);
  const int p = model.layout().unknowns;
  SquareRootInformation information(p + count);
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    const StationWeight weight(block, random, active);
    Eigen::MatrixXd joined(block.gap.size(), p + count + 1);
    joined << block.by_unknown, columns(static_cast<int>(s), block), block.gap;
    const Eigen::MatrixXd whitened = weight.whiten(joined);
    information.add(whitened.leftCols(p + count), whitened.rightCols<1>());
  }
  const PriorRows prior = prior_rows(model, adjusted.unknowns);
  Eigen::MatrixXd wide = Eigen::MatrixXd::Zero(prior.jacobian.rows(), p + count);
  wide.leftCols(p) = prior.jacobian;
  information.add(wide, prior.residual);
  // A direction seen a million times more weakly than the others is not seen: its estimate would
  // be noise blown up.
  constexpr double seen_at_all = 1e-5;
  const InformationSolution solution = information.solve(seen_at_all);
  if (!solution.full_rank()) return test;
  const double left = information.residual_sum_of_squares();
  test.testable = true;
  test.drop = std::max(0.0, adjusted.chi2 - left);
  test.estimate = solution.step.tail(count);
  if (left > 0.0) {
    test.tail = std::exp(log_f_tail((test.drop / count) / (left / left_over), count, left_over));
  }
  return test;
}

ExtraTest test_effects(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                       const std::vector<Effect>& effects) {
  const Linearisation at(model, adjusted.unknowns);
  StationBlock with_effects;
  return test_extra(model, random, adjusted, static_cast<int>(effects.size()),
                    [&](int station, const StationBlock&) {
                      at.evaluate(station, nullptr, with_effects, effects);
                      return with_effects.by_common;
                    });
}

ExtraTest confirm_effects(const Model& model, const RandomModel& stated,
                          const Eigen::VectorXd& unknowns, const std::vector<Effect>& effects,
                          const std::vector<Effect>& beside) {
  std::vector<Effect> all = model.layout().effects;
  all.insert(all.end(), beside.begin(), beside.end());
  all.insert(all.end(), effects.begin(), effects.end());
  Model extended(model.machine(), model.survey(), all);
  extended.set_turns(model.turns());
  Eigen::VectorXd start = Eigen::VectorXd::Zero(extended.layout().unknowns);
  start.head(unknowns.size()) = unknowns;
  ExtraTest test;
  Adjusted adjusted = adjusted_at(extended, stated, start, {});
  if (!adjusted.information.full_rank()) return test;
  const ChosenVariances chosen = choose_variances(extended, stated, adjusted, true);
  adjusted = adjusted_at(extended, chosen.random, start + adjusted.information.step, {});
  const Uncertainty uncertainty(extended, adjusted, chosen, {});
  const auto count = static_cast<Eigen::Index>(effects.size());
  test.testable = true;
  const Eigen::VectorXd ended = adjusted.unknowns + adjusted.information.step;
  test.estimate = ended.tail(count);
  test.moved = ended.head(unknowns.size()) - unknowns;
  const Eigen::MatrixXd covariance = uncertainty.repeatable().bottomRightCorner(count, count);
  test.drop = test.estimate.dot(covariance.ldlt().solve(test.estimate));
  double dof = 1e6;  // all but infinite: the sigmas are taken from the machine file
  for (Eigen::Index k = 0; k < count; ++k) {
    Eigen::VectorXd pick = Eigen::VectorXd::Zero(extended.layout().unknowns);
    pick[extended.layout().unknowns - 1 - k] = 1.0;
    dof = std::min(dof, uncertainty.degrees_of_freedom(pick));
  }
  test.tail =
      std::exp(log_f_tail(test.drop / static_cast<double>(count), static_cast<double>(count), dof));
  return test;
}

namespace {

/// Beyond this many stations a move is looked for only at this many places, evenly spread.
constexpr int most_places = 60;

}  // namespace

MovedArtefact find_moved_artefact(const Model& model, const RandomModel& random,
                                  const Adjusted& adjusted, double level) {
  MovedArtefact best;
  best.tail = level;
  const int stations = static_cast<int>(model.survey().stations.size());
  const int step = std::max(1, stations / most_places);
  constexpr int fewest_stations = 2;
  int places = 0;
  for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
    const int first = model.layout().place_first[a];
    if (first < 0 || model.machine().artefacts[a].kind != ArtefactKind::ball) continue;
    for (int from = fewest_stations; from <= stations - fewest_stations; from += step) ++places;
  }
  for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
    const int first = model.layout().place_first[a];
    if (first < 0 || model.machine().artefacts[a].kind != ArtefactKind::ball) continue;
    for (int from = fewest_stations; from <= stations - fewest_stations; from += step) {
      const ExtraTest test =
          test_extra(model, random, adjusted, 3, [&](int station, const StationBlock& block) {
            Eigen::MatrixXd columns = Eigen::MatrixXd::Zero(block.gap.size(), 3);
            if (station >= from) columns = block.by_unknown.middleCols<3>(first);
            return columns;
          });
      if (!test.testable || test.tail * places >= best.tail) continue;
      best = {static_cast<int>(a), from, test.estimate, test.tail * places, test.drop, places};
    }
  }
  return best;
}

double explanation_cost(double chi2_left, int redundancy_left) {
  return chi2_left - redundancy_left;
}

double saying_cost(int unknowns, int readings, int picked_from) {
  return unknowns * std::log(static_cast<double>(readings)) +
         2.0 * std::log(static_cast<double>(picked_from));
}

namespace {

/// Every story that is not a move: each optional unknown alone, the slides together.
std::vector<std::vector<Effect>> systematic_stories(const Model& model) {
  std::vector<std::vector<Effect>> stories;
  for (const OptionalUnknown unknown : {OptionalUnknown::drift, OptionalUnknown::stylus_offset,
                                        OptionalUnknown::lobing, OptionalUnknown::reversal}) {
    stories.push_back(effects_for(model, unknown));
  }
  stories.push_back(effects_for(model, {OptionalUnknown::squareness, OptionalUnknown::scale}));
  return stories;
}

}  // namespace

std::optional<double> cost_of_systematic_story(const Model& model, const RandomModel& stated,
                                               const Eigen::VectorXd& unknowns) {
  constexpr double level = 0.999;
  const Adjusted adjusted = adjusted_at(model, stated, unknowns, {});
  const auto acceptable = [&](double chi2, int fewer) {
    const int left_over = adjusted.redundancy - fewer;
    return left_over >= 1 && chi2 <= chi_squared_quantile(level, left_over);
  };
  if (!adjusted.information.full_rank() || acceptable(adjusted.chi2, 0)) return std::nullopt;
  std::optional<double> cheapest;
  const auto offer = [&](double drop, int count, int picked_from) {
    if (!acceptable(adjusted.chi2 - drop, count)) return;
    const double cost = explanation_cost(adjusted.chi2 - drop, adjusted.redundancy - count) +
                        saying_cost(count, model.total_readings(), picked_from);
    if (!cheapest || cost < *cheapest) cheapest = cost;
  };
  const std::vector<std::vector<Effect>> stories = systematic_stories(model);
  for (const std::vector<Effect>& effects : stories) {
    const ExtraTest test = test_effects(model, stated, adjusted, effects);
    if (test.testable) {
      offer(test.drop, static_cast<int>(effects.size()), static_cast<int>(stories.size()));
    }
  }
  const MovedArtefact moved = find_moved_artefact(model, stated, adjusted, 1e-3);
  if (moved.artefact >= 0) offer(moved.drop, 3, moved.places);
  return cheapest;
}

}  // namespace pivotrace

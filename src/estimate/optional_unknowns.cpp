#include "estimate/optional_unknowns.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "estimate/effects.h"
#include "estimate/linearisation.h"
#include "estimate/touch_tests.h"
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

namespace {

/// What further columns E of derivatives say in the model as it is: E'C^-1 E, J'C^-1 E (J over all of
/// Adjusted::joint) and E'C^-1 v. They add up over stations.
struct ExtraSums {
  ExtraSums(Eigen::Index joint, Eigen::Index count)
      : own(Eigen::MatrixXd::Zero(count, count)),
        seen(Eigen::MatrixXd::Zero(joint, count)),
        score(Eigen::VectorXd::Zero(count)) {}

  void add(const StationTester& tester, const Eigen::MatrixXd& columns) {
    const Eigen::MatrixXd weighed = tester.weigh(columns);
    own += columns.transpose() * weighed;
    seen(tester.columns(), Eigen::all) += tester.derivatives().transpose() * weighed;
    score += weighed.transpose() * tester.residual();
  }

  Eigen::MatrixXd own;
  Eigen::MatrixXd seen;
  Eigen::VectorXd score;
};

/// The test of G = E'P E, g = E'P v: the estimate is -G^-1 g, chi2 drops by g'G^-1 g.
ExtraTest test_of(const ExtraSums& sums, const Adjusted& adjusted, double stated_dof) {
  ExtraTest test;
  const Eigen::Index count = sums.score.size();
  const int left_over = adjusted.redundancy - static_cast<int>(count);
  const Eigen::VectorXd scale = sums.own.diagonal().cwiseSqrt();
  if (!(scale.minCoeff() > 0.0)) return test;
  const Eigen::VectorXd unit = scale.cwiseInverse();
  Eigen::MatrixXd information = sums.own - sums.seen.transpose() * adjusted.joint * sums.seen;
  information = unit.asDiagonal() * information * unit.asDiagonal();
  // A direction of which everything else leaves less than this is not seen: its estimate would be
  // noise blown up a hundredfold, and far enough from 0 for its derivatives to have changed.
  constexpr double seen_at_all = 1e-4;
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(information);
  if (!(eigen.eigenvalues()[0] > seen_at_all)) return test;
  const Eigen::MatrixXd inverse = eigen.eigenvectors() *
                                  eigen.eigenvalues().cwiseInverse().asDiagonal() *
                                  eigen.eigenvectors().transpose();
  test.testable = true;
  test.covariance = unit.asDiagonal() * inverse * unit.asDiagonal();
  test.estimate = -test.covariance * sums.score;
  test.drop = std::max(0.0, -sums.score.dot(test.estimate));
  // What the file says of the sigmas counts with its own degrees of freedom, as it does in U95.
  const double left = std::max(0.0, adjusted.chi2 - test.drop) + stated_dof;
  const double dof = left_over + stated_dof;
  const auto k = static_cast<double>(count);
  test.tail = std::exp(log_f_tail((test.drop / k) / (left / dof), k, dof));
  return test;
}

}  // namespace

ExtraTest test_effects(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                       const std::vector<Effect>& effects) {
  const auto count = static_cast<int>(effects.size());
  if (count == 0 || adjusted.redundancy - count < 1) return {};
  const Linearisation at(model, adjusted.unknowns);
  StationTester tester(model, adjusted, random);
  ExtraSums sums(adjusted.joint.rows(), count);
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block, effects);
    tester.select(static_cast<int>(s));
    sums.add(tester, block.by_common);
  }
  return test_of(sums, adjusted, model.machine().sigma_dof);
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
  const ChosenVariances chosen = choose_variances(extended, stated, adjusted);
  adjusted = adjusted_at(extended, chosen.random, start + adjusted.information.step, {});
  const Uncertainty uncertainty(extended, adjusted, chosen, {}, {});
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
    dof = std::min(dof, uncertainty.dof_of_variance(pick));
  }
  test.tail =
      std::exp(log_f_tail(test.drop / static_cast<double>(count), static_cast<double>(count), dof));
  return test;
}

namespace {

/// Beyond this many stations a move is looked for only at this many places, evenly spread.
constexpr int most_places = 60;

/// A single station that sits elsewhere has slipped: as many lie on either side of a move.
constexpr int fewest_stations = 2;

/// First stations after a possible move.
std::vector<int> places_of_a_move(int stations) {
  std::vector<int> places;
  const int step = std::max(1, stations / most_places);
  for (int from = fewest_stations; from <= stations - fewest_stations; from += step) {
    places.push_back(from);
  }
  return places;
}

}  // namespace

MovedArtefact find_moved_artefact(const Model& model, const RandomModel& random,
                                  const Adjusted& adjusted, double level) {
  MovedArtefact best;
  best.tail = level;
  std::vector<std::size_t> balls;
  for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
    const bool ball = model.machine().artefacts[a].kind == ArtefactKind::ball;
    if (ball && model.layout().place_first[a] >= 0) balls.push_back(a);
  }
  constexpr int count = 3;
  const auto stations = static_cast<int>(model.survey().stations.size());
  const std::vector<int> places = places_of_a_move(stations);
  if (balls.empty() || places.empty() || adjusted.redundancy - count < 1) return best;
  const int looks = static_cast<int>(balls.size() * places.size());
  StationTester tester(model, adjusted, random);
  for (const std::size_t ball : balls) {
    // From the end: each place adds the stations up to the one after it.
    ExtraSums after(adjusted.joint.rows(), count);
    int next = stations;
    for (std::size_t k = places.size(); k-- > 0;) {
      while (next > places[k]) {
        tester.select(--next);
        after.add(tester,
                  tester.block().by_unknown.middleCols<count>(model.layout().place_first[ball]));
      }
      const ExtraTest test = test_of(after, adjusted, model.machine().sigma_dof);
      if (!test.testable || test.tail * looks >= best.tail) continue;
      best = {static_cast<int>(ball), places[k], test.estimate,
              test.tail * looks,      test.drop, looks};
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
  Adjusted adjusted = adjusted_at(model, stated, unknowns, {});
  if (!adjusted.information.full_rank()) return std::nullopt;
  // `unknowns` is the minimum under other sigmas; the tests below ask for the one under these.
  adjusted = adjusted_at(model, stated, unknowns + adjusted.information.step, {});
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

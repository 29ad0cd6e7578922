#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <Eigen/Geometry>
#include <functional>
#include <string>

#include "estimate/linearisation.h"
#include "pivotrace/survey/random_stream.h"
#include "scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// Central difference of fourth order: the truncation error is step^4 / 30 of the fifth derivative,
/// below 1e-8 even where a gap bends over a millimetre.
Eigen::VectorXd fourth_order_difference(const std::function<Eigen::VectorXd(double)>& at,
                                        double step) {
  return (8.0 * (at(step) - at(-step)) - (at(2.0 * step) - at(-2.0 * step))) / (12.0 * step);
}

Eigen::Vector3d random_vector(RandomStream& random, double size) {
  return {size * random.normal(), size * random.normal(), size * random.normal()};
}

Artefact random_artefact(RandomStream& random, const char* name, ArtefactKind kind,
                         int carried_by) {
  Artefact artefact =
      ball(name, carried_by, Eigen::Vector3d(-300, -200, -250) + random_vector(random, 40));
  artefact.kind = kind;
  artefact.direction = random_vector(random, 1).normalized();
  return artefact;
}

/// Two work-side and two tool-side axes in arbitrary, tilted directions; every artefact kind.
Machine random_machine(RandomStream& random) {
  Machine machine = machine_frame("random");
  const char letters[4] = {'B', 'A', 'C', 'U'};
  for (int k = 0; k < 4; ++k) {
    RotaryAxis axis;
    axis.letter = letters[k];
    axis.side = k % 2 == 0 ? AxisSide::work : AxisSide::tool;
    axis.direction = random_vector(random, 1).normalized();
    axis.centre_mm = (axis.side == AxisSide::work ? Eigen::Vector3d(-300, -200, -250)
                                                  : Eigen::Vector3d(0, 0, 150)) +
                     random_vector(random, 20);
    axis.quote_at_mm = axis.direction.dot(axis.centre_mm);
    axis.positive_turn = random.uniform() < 0.5 ? TurnSense::left_hand : TurnSense::right_hand;
    machine.rotary.push_back(axis);
  }
  machine.artefacts = {random_artefact(random, "ball", ArtefactKind::ball, 2),
                       random_artefact(random, "pin", ArtefactKind::pin, 2),
                       random_artefact(random, "bore", ArtefactKind::bore, 0),
                       random_artefact(random, "flat", ArtefactKind::flat, -1)};
  return machine;
}

Survey random_survey(RandomStream& random, const Machine& machine) {
  Survey survey;
  for (int s = 0; s < 4; ++s) {
    Station station;
    for (int k = 0; k < 4; ++k) station.angles_rad[k] = 2.0 * random.normal();
    station.first_touch = static_cast<int>(survey.touches.size());
    for (int a = 0; a < 4; ++a) {
      for (int t = 0; t < 2; ++t) {
        Touch touch;
        touch.station = s;
        touch.artefact = a;
        touch.time_s = 100.0 * random.uniform();
        touch.flip = random.uniform() < 0.5;
        touch.kind = a == 0 && t == 1 ? TouchKind::centre : TouchKind::touch;
        touch.shown_mm = machine.artefacts[a].at_mm + random_vector(random, 60);
        survey.touches.push_back(touch);
      }
    }
    station.touch_count = static_cast<int>(survey.touches.size()) - station.first_touch;
    survey.stations.push_back(station);
  }
  return survey;
}

std::vector<Effect> every_effect_but_lobing() {
  std::vector<Effect> effects;
  for (int k = 0; k < 3; ++k) {
    effects.push_back({EffectKind::stylus_offset, k});
    effects.push_back({EffectKind::scale, k});
    effects.push_back({EffectKind::squareness, k});
    effects.push_back({EffectKind::drift, k});
  }
  effects.push_back({EffectKind::reversal, 1});
  return effects;
}

}  // namespace

TEST_CASE("derivatives in closed form agree with central differences on any machine") {
  CHECK(rc::check([] {
    RandomStream random(*rc::gen::inRange<std::uint64_t>(1, 1000000000ULL));
    const Machine machine = random_machine(random);
    const Survey survey = random_survey(random, machine);
    const Model model(machine, survey, every_effect_but_lobing());
    Eigen::VectorXd at = model.unknowns_from(nominal_state(machine));
    for (Eigen::Index k = 0; k < at.size(); ++k) at[k] += 0.01 * random.normal();
    double nuisance[7];
    for (double& effect : nuisance) effect = 0.01 * random.normal();

    StationBlock block;
    constexpr double step = 1e-5;
    // Gaps of 200 mm over such a step leave 1e-8 of round-off.
    constexpr double allowed = 1e-6;
    for (int s = 0; s < 4; ++s) {
      const auto gap_at = [&](const Eigen::VectorXd& unknowns, const double* effects) {
        StationBlock moved;
        Linearisation(model, unknowns).evaluate(s, effects, moved);
        return moved.gap;
      };
      const auto agree = [&](const std::function<Eigen::VectorXd(double)>& along,
                             const Eigen::VectorXd& column, const std::string& by) {
        const double off = (fourth_order_difference(along, step) - column).cwiseAbs().maxCoeff();
        if (!(off < allowed)) RC_FAIL("station " + std::to_string(s) + " by " + by);
      };
      Linearisation(model, at).evaluate(s, nuisance, block);
      for (Eigen::Index k = 0; k < at.size(); ++k) {
        const auto along = [&](double shift) {
          Eigen::VectorXd moved = at;
          moved[k] += shift;
          return gap_at(moved, nuisance);
        };
        agree(along, block.by_unknown.col(k), text_of(model.layout().names[k]));
      }
      for (int k = 0; k < 7; ++k) {
        const auto along = [&](double shift) {
          std::vector<double> moved(nuisance, nuisance + 7);
          moved[k] += shift;
          return gap_at(at, moved.data());
        };
        agree(along, block.by_nuisance.col(k), "station effect " + std::to_string(k));
      }
    }
  }));
}

TEST_CASE("the gap of the linearisation is the gap of the kinematics: two routes to one number") {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    INFO("seed ", seed);
    RandomStream random(seed);
    const Machine machine = random_machine(random);
    const Survey survey = random_survey(random, machine);
    const Model model(machine, survey);
    const MachineState state = nominal_state(machine);
    const Linearisation at(model, model.unknowns_from(state));
    StationBlock block;
    for (int s = 0; s < 4; ++s) {
      at.evaluate(s, nullptr, block);
      int row = 0;
      for (int t = 0; t < survey.stations[s].touch_count; ++t) {
        const Touch& touch = survey.touches[survey.stations[s].first_touch + t];
        const RotaryAngles& angles = survey.stations[s].angles_rad;
        const Eigen::Vector3d carried = carried_from_machine(
            machine, state, machine.artefacts[touch.artefact].carried_by,
            stylus_in_machine(machine, state, touch.shown_mm, angles, touch.flip), angles);
        if (touch.kind == TouchKind::centre) {
          const Eigen::Vector3d expected = carried - state.artefacts[touch.artefact].point_mm;
          CHECK((block.gap.segment<3>(row) - expected).norm() < 1e-10);
          row += 3;
        } else {
          const double expected =
              gap_mm(machine.artefacts[touch.artefact].kind, state.artefacts[touch.artefact],
                     state.stylus_radius_mm, carried);
          CHECK(block.gap[row] == doctest::Approx(expected).epsilon(1e-12));
          row += 1;
        }
      }
    }
  }
}

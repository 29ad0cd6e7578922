// What a program foresees of the places it goes to, against a machine that is simulated apart from it.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <random>

#include "example_machine.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"

namespace pivotrace {
namespace {

using Random = std::mt19937_64;

double uniform(Random& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

/// A point no further than `radius` from the origin.
Eigen::Vector3d within(Random& random, double radius) {
  for (;;) {
    const Eigen::Vector3d p(uniform(random, -radius, radius), uniform(random, -radius, radius),
                            uniform(random, -radius, radius));
    if (p.norm() <= radius) return p;
  }
}

/// Three directions round the equator and the pole, at random angles of every axis.
Plan random_plan(const Machine& machine, Random& random, int stations, double rough_mm) {
  Plan plan;
  plan.distances.rough = rough_mm;
  for (int i = 0; i < stations; ++i) {
    PlannedStation station;
    station.label = fmt::format("{}", i + 1);
    for (std::size_t k = 0; k < machine.rotary.size(); ++k) {
      const Range& travel = machine.rotary[k].travel_rad;
      station.angles_rad[k] =
          uniform(random, std::max(travel.low, -3.0), std::min(travel.high, 3.0));
    }
    for (int k = 0; k < 3; ++k) station.touches.push_back({0, rad_from_deg(120.0 * k), 0.0});
    station.touches.push_back({0, 0.0, rad_from_deg(90.0)});
    plan.stations.push_back(station);
  }
  return plan;
}

/// Where the control shows the ball.
Eigen::Vector3d shown_at(const Machine& machine, const MachineState& state,
                         const RotaryAngles& angles_rad) {
  const int carrier = machine.artefacts[0].carried_by;
  return shown_from_stylus(
      machine, state,
      machine_from_carried(machine, state, carrier, state.artefacts[0].point_mm, angles_rad),
      angles_rad);
}

void correct(MachineState& model, const Foresight& foresight, const ForeseenVisit& visit,
             const Eigen::Vector3d& off_mm) {
  const Eigen::VectorXd more = visit.gain * off_mm;
  for (std::size_t j = 0; j < foresight.coordinates.size(); ++j) {
    const LearnedCoordinate& c = foresight.coordinates[j];
    Eigen::Vector3d& point =
        c.axis >= 0 ? model.axis_lines[c.axis].point_mm : model.artefacts[0].point_mm;
    point[c.along] += more[static_cast<Eigen::Index>(j)];
  }
}

/// Every centre across its axis, and the ball, up to `rough_mm` elsewhere.
MachineState moved(const Machine& machine, Random& random, double rough_mm) {
  MachineState state = nominal_state(machine);
  for (Line& line : state.axis_lines) line.point_mm += within(random, rough_mm);
  for (ArtefactPlace& place : state.artefacts) place.point_mm += within(random, rough_mm);
  return state;
}

/// Left out of e^2 / 2R: e^4 / 8R^3, at e = 6 mm on a reach of 15 mm.
constexpr double next_order_mm = 0.05;

/// How much further out than predicted a stylus that comes along `outward` meets a ball that is `off_mm`
/// elsewhere, centre to stylus centre `reach_mm`.
double met_further_out(const Eigen::Vector3d& outward, const Eigen::Vector3d& off_mm,
                       double reach_mm) {
  const double along = outward.dot(off_mm);
  const double across = off_mm.squaredNorm() - along * along;
  return along + std::sqrt(reach_mm * reach_mm - across) - reach_mm;
}

void check_met(const Machine& machine, const Plan& plan, const PlannedStation& station,
               const ForeseenVisit& visit, const Eigen::Vector3d& off_mm) {
  double reach_mm = 0.0;
  for (const PlannedTouch& touch : station.touches) {
    const PlacedTouch placed =
        place_touch(machine, nominal_state(machine), plan.distances, station.angles_rad, touch);
    reach_mm = placed.reach_mm;
    CHECK(std::abs(met_further_out(placed.outward, off_mm, reach_mm)) <=
          visit.met_off_mm + next_order_mm);
  }
  CHECK(std::abs(met_further_out(Eigen::Vector3d::UnitZ(), off_mm, reach_mm)) <=
        visit.felt_off_mm + next_order_mm);
}

TEST_CASE("foresight: no place is further off than it says, whatever is wrong within rough") {
  for (const char* name : {"fourth-axis", "trunnion", "swivel-head"}) {
    const Machine machine = testing::example(name);
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
      CAPTURE(name);
      CAPTURE(seed);
      Random random(seed);
      const double rough = seed % 2 == 0 ? 1.0 : 3.0;
      const Plan plan = random_plan(machine, random, 10, rough);
      const Foresight foresight = foresee(machine, plan);
      const MachineState truth = moved(machine, random, rough);
      MachineState model = nominal_state(machine);
      for (std::size_t i = 0; i < plan.stations.size(); ++i) {
        const ForeseenVisit& visit = foresight.stations[i].front();
        const RotaryAngles& angles = plan.stations[i].angles_rad;
        const Eigen::Vector3d off =
            shown_at(machine, truth, angles) - shown_at(machine, model, angles);
        CHECK(off.norm() <= visit.off_mm + 1e-9);
        check_met(machine, plan, plan.stations[i], visit, off);
        correct(model, foresight, visit, off);
      }
    }
  }
}

TEST_CASE("foresight: only the first stations are found first, in any order of angles") {
  for (const char* name : {"fourth-axis", "trunnion", "swivel-head"}) {
    const Machine machine = testing::example(name);
    // Every station gives three numbers; a ball and two centres have seven, and chance may choose
    // angles that lie near each other.
    const std::size_t first = 6;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
      CAPTURE(name);
      CAPTURE(seed);
      Random random(seed);
      const Plan plan = random_plan(machine, random, 14, 3.0);
      const Foresight foresight = foresee(machine, plan);
      CHECK(foresight.learned_after <= first);
      for (std::size_t i = foresight.learned_after; i < plan.stations.size(); ++i) {
        CHECK(foresight.stations[i].front().finding_passes == 0);
      }
      CHECK(foresight.stations.front().front().finding_passes > 0);
    }
  }
}

TEST_CASE("foresight: a file that is right to the point needs no finding") {
  const Machine machine = testing::example("trunnion");
  Random random(7);
  const Foresight foresight = foresee(machine, random_plan(machine, random, 5, 0.0));
  for (const auto& station : foresight.stations) CHECK(station.front().finding_passes == 0);
}

TEST_CASE("ways: the moves round a corner come no nearer to the centre than the stand-off") {
  for (std::uint64_t seed = 1; seed <= 2000; ++seed) {
    CAPTURE(seed);
    Random random(seed);
    const Eigen::Vector3d a = within(random, 1.0).normalized(),
                          b = within(random, 1.0).normalized();
    if (a.dot(b) < -0.99) continue;
    const Eigen::Vector3d corner = corner_between(a, b);
    for (int k = 0; k <= 50; ++k) {
      CHECK((a + k / 50.0 * (corner - a)).norm() >= 1.0 - 1e-12);
      CHECK((b + k / 50.0 * (corner - b)).norm() >= 1.0 - 1e-12);
    }
  }
}

}  // namespace
}  // namespace pivotrace

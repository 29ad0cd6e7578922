#include "rehearsal/mixed_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace::test {

namespace {

class Mixer {
 public:
  Mixer(const Machine& machine, const MixedWish& wish)
      : machine_(machine), wish_(wish), state_(nominal_state(machine)), random_(wish.seed) {
    plan_.machine_name = machine.name;
    plan_.self_find = false;
    plan_.distances.rough = wish.rough_mm;
  }

  std::optional<Plan> mix() {
    set_safe_height();
    constexpr int tries = 400;
    for (int i = 0; i < tries && static_cast<int>(plan_.stations.size()) < wish_.stations; ++i) {
      add(angles());
    }
    if (static_cast<int>(plan_.stations.size()) < wish_.stations) return std::nullopt;
    plan_.minutes = minutes_of(machine_, plan_);
    return plan_;
  }

 private:
  double uniform(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random_);
  }

  double reachable(const RotaryAxis& axis, double wanted_rad) const {
    const double run_up = rad_from_deg(plan_.distances.turn_run_up_deg);
    return std::clamp(wanted_rad, axis.travel_rad.low + run_up, axis.travel_rad.high);
  }

  RotaryAngles angles() {
    RotaryAngles made{};
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      const RotaryAxis& axis = machine_.rotary[i];
      const double low = std::max(axis.travel_rad.low, -std::numbers::pi);
      const double high = std::min(axis.travel_rad.high, std::numbers::pi);
      double wanted = uniform(low, high);
      if (plan_.stations.size() == 1) {
        wanted = plan_.stations.front().angles_rad[i] +
                 uniform(-wish_.second_nearer_than_rad, wish_.second_nearer_than_rad);
      }
      const double ten_deg = std::numbers::pi / 18.0;
      made[i] = reachable(axis, std::round(wanted / ten_deg) * ten_deg);
    }
    return made;
  }

  void set_safe_height() {
    std::vector<RotaryAngles> corners(2);
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      corners[0][i] = reachable(machine_.rotary[i], -std::numbers::pi);
      corners[1][i] = reachable(machine_.rotary[i], std::numbers::pi);
    }
    plan_.distances.safe_height = safe_height_mm(machine_, state_, plan_.distances, corners);
  }

  /// Round the equator and the pole, turned until nothing is in the way.
  void add(const RotaryAngles& angles_rad) {
    const int equator = wish_.touches - 1;
    for (int turn = 0; turn < 8; ++turn) {
      PlannedStation station{fmt::format("{}", plan_.stations.size() + 1), angles_rad, false, {}};
      for (int k = 0; k < equator; ++k) {
        const double share = (k + turn / 8.0) / equator;
        station.touches.push_back({0, 2.0 * std::numbers::pi * share, 0.0, 0.0, 0.0});
      }
      station.touches.push_back({0, 0.0, 0.5 * std::numbers::pi, 0.0, 0.0});
      Plan longer = plan_;
      longer.stations.push_back(station);
      const bool same = !plan_.stations.empty() && plan_.stations.back().angles_rad == angles_rad;
      if (same || !check_plan(machine_, longer).empty()) continue;
      plan_ = std::move(longer);
      return;
    }
  }

  const Machine& machine_;
  const MixedWish& wish_;
  const MachineState state_;
  std::mt19937_64 random_;
  Plan plan_;
};

}  // namespace

std::optional<Plan> mixed_plan(const Machine& machine, const MixedWish& wish) {
  return Mixer(machine, wish).mix();
}

}  // namespace pivotrace::test

#include <doctest/doctest.h>

#include <numbers>

#include "pivotrace/survey/machine_errors.h"

using namespace pivotrace;

namespace {

/// A bench mill with one work-carrying axis along X; invented.
Machine small_machine() {
  Machine machine;
  RotaryAxis axis;
  axis.letter = 'A';
  machine.rotary = {axis};
  return machine;
}

SurveyTruth truth_of(const Machine& machine) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  return truth;
}

}  // namespace

TEST_CASE("a perfect machine stands where it shows, and its probe triggers at the surface") {
  const Machine machine = small_machine();
  const SurveyTruth truth = truth_of(machine);
  const SurveyNoise noise;
  MachineErrors errors(machine, truth, noise);
  errors.begin_station();
  errors.arrive(0, 1.2, +1);
  const Eigen::Vector3d shown_mm(-300.0, 20.0, -40.0);
  CHECK((errors.slides_at_mm(shown_mm, 3600.0) - shown_mm).norm() == 0.0);
  CHECK(errors.stands_at_rad(0, 1.2, 1.2) == 1.2);
  CHECK(errors.touch_scatter_mm() == 0.0);
  CHECK(errors.lobing_mm(Eigen::Vector3d::UnitX(), {}, 0.0) == 0.0);
}

TEST_CASE("drift counts by the hour, a moving table as slides that stand elsewhere") {
  const Machine machine = small_machine();
  SurveyTruth truth = truth_of(machine);
  truth.drift_mm_per_hour = {0.0, 0.0, 0.012};
  const SurveyNoise noise;
  const MachineErrors errors(machine, truth, noise);
  const Eigen::Vector3d shown_mm(-300.0, 20.0, -40.0);
  const Eigen::Vector3d tool_mm(0.001, 0.0, 0.0);
  const Eigen::Vector3d work_mm(0.0, 0.002, 0.0);
  const Eigen::Vector3d off_mm = errors.slides_at_mm(shown_mm, 1800.0, tool_mm, work_mm) - shown_mm;
  // Half an hour of drift, with the tool, against the work.
  CHECK((off_mm - Eigen::Vector3d(0.001, -0.002, 0.006)).norm() < 1e-12);
}

TEST_CASE("a fixed index error shows at its angle alone, and beside a turn gone elsewhere") {
  const Machine machine = small_machine();
  const SurveyTruth truth = truth_of(machine);
  const SurveyNoise noise;
  const double quarter = 0.5 * std::numbers::pi;
  const MachineErrors errors(machine, truth, noise, {{0, quarter, 1e-4}, {0, quarter, 2e-4}});
  CHECK(errors.stands_at_rad(0, quarter, quarter) ==
        doctest::Approx(quarter + 3e-4).epsilon(1e-15));
  CHECK(errors.stands_at_rad(0, quarter, -quarter) ==
        doctest::Approx(-quarter + 3e-4).epsilon(1e-15));
  CHECK(errors.stands_at_rad(0, 0.0, 0.0) == 0.0);
}

TEST_CASE("a three-lobed probe comes back after a third of a turn of the spindle") {
  const Machine machine = small_machine();
  SurveyTruth truth = truth_of(machine);
  truth.lobing_amplitude_mm = 0.002;
  truth.lobing_phase_rad = 0.3;
  const SurveyNoise noise;
  const MachineErrors errors(machine, truth, noise);
  const double third = 2.0 * std::numbers::pi / 3.0;
  const auto lobing = [&](double spindle_rad) {
    return errors.lobing_mm(Eigen::Vector3d(0.6, 0.8, 0.0), {}, spindle_rad);
  };
  CHECK(lobing(0.0) == doctest::Approx(lobing(third)).epsilon(1e-12));
  // Turned half round, what was a lobe is a gap between two.
  CHECK(lobing(0.0) == doctest::Approx(-lobing(std::numbers::pi)).epsilon(1e-12));
  // Along the spindle there is nothing to lobe.
  CHECK(errors.lobing_mm(Eigen::Vector3d::UnitZ(), {}, 0.0) == 0.0);
}

TEST_CASE("the same seed makes the same errors, and stations scatter as stated") {
  const Machine machine = small_machine();
  const SurveyTruth truth = truth_of(machine);
  SurveyNoise noise;
  noise.station_sigma_mm = 0.002;
  noise.seed = 7;
  MachineErrors one(machine, truth, noise);
  MachineErrors other(machine, truth, noise);
  double squares = 0.0;
  constexpr int stations = 2000;
  for (int k = 0; k < stations; ++k) {
    one.begin_station();
    other.begin_station();
    const Eigen::Vector3d off_mm = one.slides_at_mm(Eigen::Vector3d::Zero(), 0.0);
    CHECK((off_mm - other.slides_at_mm(Eigen::Vector3d::Zero(), 0.0)).norm() == 0.0);
    squares += off_mm.squaredNorm();
  }
  // The mean of 6000 squares of a standard normal deviate scatters by sqrt(2/6000) = 1.8 %; five times that.
  CHECK(squares / (3.0 * stations) == doctest::Approx(4e-6).epsilon(0.09));
}

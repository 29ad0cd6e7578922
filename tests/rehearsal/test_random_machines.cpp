// Laws over random machines: whatever is planned and emitted rehearses without a collision, a limit
// or an unguarded move, or was refused; and the fit of what it logs holds the truth at the promised
// rate. Every case prints the seed that reproduces it.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/survey/random_stream.h"
#include "rehearsal/demo_loop.h"

namespace pivotrace {
namespace {

using test::all_of;
using test::DemoLoop;

constexpr int machines_per_run = 120;

class RandomMachine {
 public:
  explicit RandomMachine(std::uint64_t seed) : random_(seed) {}

  Machine machine() {
    Machine machine;
    machine.name = "random";
    machine.linear.travel_mm = {Range{-700, 0}, Range{-500, 0}, Range{-520, 0}};
    machine.linear.station_sigma_mm = between(0.0005, 0.003);
    machine.linear.station_sigma_stated = true;
    add_probe(machine.probe);
    add_axis(machine);
    add_ball(machine);
    const int obstacles = static_cast<int>(between(0.0, 3.0));
    for (int k = 0; k < obstacles; ++k) add_obstacle(machine, k);
    return machine;
  }

  double between(double low, double high) { return low + (high - low) * random_.uniform(); }
  double normal() { return random_.normal(); }

 private:
  void add_probe(Probe& probe) {
    probe.stylus_diameter_mm = between(3.0, 8.0);
    probe.stylus_diameter_u_mm = 0.0005;
    probe.stylus_length_mm = between(40.0, 90.0);
    probe.shank_diameter_mm = between(0.4, 0.75) * probe.stylus_diameter_mm;
    probe.holder_diameter_mm = between(30.0, 50.0);
    probe.holder_length_mm = between(40.0, 80.0);
    probe.length_datum = random_.uniform() < 0.3 ? LengthDatum::tip : LengthDatum::centre;
    probe.touch_sigma_mm = between(0.0003, 0.001);
    probe.touch_sigma_stated = true;
  }

  void add_axis(Machine& machine) {
    RotaryAxis axis;
    const int along = static_cast<int>(between(0.0, 3.0));
    axis.letter = "ABC"[along];
    axis.along = static_cast<LinearAxis>(along);
    axis.direction = Eigen::Vector3d::Unit(along);
    axis.positive_turn = random_.uniform() < 0.5 ? TurnSense::right_hand : TurnSense::left_hand;
    axis.centre_mm = {between(-450, -250), between(-320, -180), between(-380, -280)};
    axis.quote_at_mm = axis.direction.dot(axis.centre_mm);
    axis.index_sigma_rad = rad_from_arcsec(between(1.0, 6.0));
    axis.index_sigma_stated = true;
    // Whole degrees, as machine files state them: a limit with more decimals than the log would be
    // left by the log's own rounding.
    const double half = random_.uniform() < 0.7 ? 360.0 : std::floor(between(60.0, 120.0));
    axis.travel_rad = {rad_from_deg(-half), rad_from_deg(half)};
    machine.rotary.push_back(axis);
  }

  void add_ball(Machine& machine) {
    const RotaryAxis& axis = machine.rotary.front();
    const CrossPair cross = cross_pair(axis.direction);
    Artefact ball;
    ball.name = "ball";
    ball.carried_by = 0;
    const double radius = between(30.0, 90.0);
    // Upwards at 0 where the axis lies level, anywhere round an upright one.
    const Eigen::Vector3d out = axis.letter == 'C' ? cross.first : Eigen::Vector3d::UnitZ();
    ball.at_mm = axis.centre_mm + radius * out + between(-30.0, 60.0) * axis.direction;
    ball.diameter_mm = between(12.0, 30.0);
    ball.diameter_u_mm = 0.0005;
    Stem stem;
    stem.direction = random_.uniform() < 0.6 ? Eigen::Vector3d(-axis.direction)
                                             : Eigen::Vector3d(-Eigen::Vector3d::UnitZ());
    stem.diameter_mm = between(0.25, 0.5) * *ball.diameter_mm;
    stem.length_mm = between(25.0, 50.0);
    ball.stem = stem;
    machine.artefacts.push_back(ball);
  }

  void add_obstacle(Machine& machine, int k) {
    const RotaryAxis& axis = machine.rotary.front();
    Obstacle obstacle;
    obstacle.name = "thing " + std::to_string(k + 1);
    obstacle.carried_by = random_.uniform() < 0.5 ? 0 : -1;
    const Eigen::Vector3d middle =
        axis.centre_mm + Eigen::Vector3d(between(-150, 150), between(-150, 150), between(-150, 20));
    if (random_.uniform() < 0.5) {
      const Eigen::Vector3d half(between(10, 50), between(10, 50), between(10, 40));
      obstacle.from_mm = middle - half;
      obstacle.to_mm = middle + half;
    } else {
      obstacle.shape = ObstacleShape::cylinder;
      obstacle.from_mm = middle;
      obstacle.to_mm = middle + between(20.0, 60.0) * axis.direction;
      obstacle.diameter_mm = between(20.0, 120.0);
    }
    machine.obstacles.push_back(obstacle);
  }

  RandomStream random_;
};

RehearsalTruth random_truth(const Machine& machine, RandomMachine& random) {
  RehearsalTruth truth = nominal_truth(machine);
  const auto some = [&random](double size) {
    return Eigen::Vector3d(random.between(-size, size), random.between(-size, size),
                           random.between(-size, size));
  };
  Line& line = truth.survey.state.axis_lines[0];
  line.point_mm += some(0.15);
  line.direction = (line.direction + some(5e-4)).normalized();
  truth.survey.state.artefacts[0].point_mm += some(0.4);
  return truth;
}

SurveyNoise stated_noise(const Machine& machine, std::uint64_t seed) {
  SurveyNoise noise;
  noise.touch_sigma_mm = machine.probe.touch_sigma_mm;
  noise.station_sigma_mm = machine.linear.station_sigma_mm;
  noise.index_sigma_rad[0] = machine.rotary[0].index_sigma_rad;
  noise.seed = seed;
  return noise;
}

struct Coverage {
  int held = 0;
  int values = 0;
};

void count_coverage(const DemoLoop& loop, const RehearsalTruth& truth,
                    const RehearsalReport& report, Coverage& coverage) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  if (!survey) MESSAGE(all_of(survey.error()));
  REQUIRE(survey.has_value());
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  if (!fit) return;  // refused as not observable: allowed, and says so
  const AxisResult& axis = fit->axes[0];
  for (const NamedEstimate& named : axis.location) {
    const double true_value =
        pierce_plane(truth.survey.state.axis_lines[0], loop.machine.rotary[0].direction,
                     axis.quoted_at_mm)[named.key[0] - 'X'];
    ++coverage.values;
    if (std::fabs(named.estimate.value - true_value) <= named.estimate.U95) ++coverage.held;
  }
}

TEST_CASE("random machines: what is emitted rehearses clean, and its fit holds the truth") {
  const Dialect macro = read_dialect(test::in_source("routines/macro.toml")).value();
  const Dialect ngc = read_dialect(test::in_source("routines/ngc.toml")).value();
  int rehearsed = 0;
  int refused = 0;
  Coverage coverage;
  for (std::uint64_t seed = 1; seed <= machines_per_run; ++seed) {
    CAPTURE(seed);
    RandomMachine random(seed);
    const Machine machine = random.machine();
    PlanRequest request;
    request.self_find = seed % 2 == 0;
    request.flip = seed % 5 == 0;
    const Expected<DemoLoop> loop = test::demo_loop(machine, seed % 3 == 0 ? ngc : macro, request);
    if (!loop) {
      ++refused;
      CHECK_FALSE(loop.error().empty());
      continue;
    }
    ++rehearsed;
    const RehearsalTruth truth = random_truth(machine, random);
    RehearsalOptions options = test::options_for(*loop);
    options.noise = stated_noise(machine, seed);
    const Expected<RehearsalReport> report =
        rehearse(loop->program.text, "random.nc", machine, loop->dialect, truth, options);
    REQUIRE(report.has_value());
    CAPTURE(rehearsal_text(*report, machine));
    CHECK(report->passed);
    if (report->passed) count_coverage(*loop, truth, *report, coverage);
  }
  MESSAGE(rehearsed, " rehearsed, ", refused, " refused; ", coverage.held, " of ", coverage.values,
          " coordinates within U95");
  CHECK(rehearsed > machines_per_run / 3);
  // 95 % with a margin of four standard deviations of the binomial count.
  const double n = coverage.values;
  CHECK(coverage.held >= 0.95 * n - 4.0 * std::sqrt(n * 0.95 * 0.05));
}

}  // namespace
}  // namespace pivotrace

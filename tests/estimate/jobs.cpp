#include "jobs.h"

namespace pivotrace::testing {

namespace {

constexpr double pi = std::numbers::pi;

/// Twelve on the equator, twelve at 45 deg and the pole: 25 touches.
std::vector<TouchTarget> many_touches(int artefact) {
  std::vector<TouchTarget> targets = ball_pattern(artefact, 12, 0.1, true);
  for (int k = 0; k < 12; ++k) {
    const double phi = 0.35 + 2.0 * pi * k / 12;
    targets.push_back(
        {artefact, {std::cos(phi), std::sin(phi), 1.0}, 0.0, Eigen::Vector3d::Zero()});
  }
  return targets;
}

Scenario fourth_axis_job(int stations, bool many) {
  Scenario s = fourth_axis(stations, 4, 1);
  if (many) {
    for (StationTarget& station : s.stations) station.touches = many_touches(0);
  }
  return s;
}

Scenario trunnion_job() {
  Scenario s;
  s.machine = machine_frame("invented trunnion");
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5)};
  s.machine.artefacts = {ball("near ball", 0, {-360, -200, -170}),
                         ball("far ball", 0, {-240, -180, -170})};
  s.truth = leaning_truth(s.machine, 0.0003, 0.1);
  for (const double angle_deg : {-30.0, 0.0, 35.0, 70.0, 100.0}) {
    StationTarget target;
    target.angles_rad[0] = rad_from_deg(angle_deg);
    for (int a = 0; a < 2; ++a) {
      const auto touches = ball_pattern(a, 4, 0.3, true);
      target.touches.insert(target.touches.end(), touches.begin(), touches.end());
    }
    s.stations.push_back(target);
  }
  return s;
}

Scenario pin_job() {
  Scenario s;
  s.machine = machine_frame("invented pin in a chuck");
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5)};
  Artefact pin;
  pin.name = "pin";
  pin.kind = ArtefactKind::pin;
  pin.carried_by = 0;
  pin.at_mm = {-300, -200, -250};
  pin.direction = Eigen::Vector3d::UnitX();
  pin.length_mm = 100.0;
  pin.diameter_mm = 20.0;
  pin.diameter_u_mm = 0.0005;
  s.machine.artefacts = {pin};
  s.truth = leaning_truth(s.machine, 0.0003, 0.1);
  // Bent and eccentric in the chuck: it is carried round, so that must not matter.
  s.truth.state.artefacts[0].direction = Eigen::Vector3d(1.0, 0.002, -0.003).normalized();
  for (int k = 0; k < 4; ++k) {
    StationTarget target;
    target.angles_rad[0] = 0.5 * pi * k;
    for (const double along_mm : {15.0, 90.0}) {
      const auto touches = round_pattern(s.machine, 0, target.angles_rad, 3, along_mm,
                                         Eigen::Vector3d::UnitZ(), 0.5 * pi);
      target.touches.insert(target.touches.end(), touches.begin(), touches.end());
    }
    s.stations.push_back(target);
  }
  return s;
}

Scenario swivel_job() {
  Scenario s;
  s.machine = machine_frame("invented swivel head");
  s.machine.rotary = {rotary_axis('B', LinearAxis::Y, TurnSense::right_hand, {0, 0, 180}, 5)};
  s.machine.rotary[0].side = AxisSide::tool;
  s.machine.artefacts = {ball("ball", -1, {-300, -200, -300})};
  s.truth = leaning_truth(s.machine, 0.0003, 0.1);
  for (const double angle_deg : {-60.0, -30.0, 0.0, 30.0, 60.0}) {
    StationTarget target;
    target.angles_rad[0] = rad_from_deg(angle_deg);
    target.touches = ball_pattern(0, 5, 0.3, true);
    s.stations.push_back(target);
  }
  return s;
}

}  // namespace

std::vector<Job> coverage_jobs() {
  std::vector<Job> jobs = {{"4th axis, 12 stations x 5 touches", fourth_axis_job(12, false)},
                           {"4th axis, 12 stations x 25 touches", fourth_axis_job(12, true)},
                           {"4th axis, 4 stations x 5 touches", fourth_axis_job(4, false)},
                           {"trunnion -30..100, 5 stations, 2 balls", trunnion_job()},
                           {"pin in chuck, 2 sections x 4 x 3", pin_job()},
                           {"swivel head +-60, 5 stations x 6", swivel_job()}};
  for (Job& job : jobs) {
    job.scenario.machine.probe.offset_u_mm = {0.001, 0.001, 0.001};
    job.scenario.noise = stated_noise(job.scenario.machine, 1);
  }
  return jobs;
}

std::vector<Disturbance> disturbances() {
  std::vector<Disturbance> all(4);
  all[0].name = "three-lobed probe, 2 um";
  all[0].lobing_mm = 0.002;
  all[1].name = "drift, 5 um per run";
  all[1].drift_mm_per_run = 0.005;
  all[2].name = "squareness, 20 um/m";
  all[2].squareness = 20e-6;
  all[3].name = "scale of Y, 10 um/m";
  all[3].scale = 10e-6;
  return all;
}

SurveyTruth disturbed(const Scenario& scenario, const Disturbance& disturbance) {
  SurveyTruth truth = scenario.truth;
  truth.lobing_amplitude_mm = disturbance.lobing_mm;
  truth.lobing_phase_rad = 0.2;
  std::size_t touches = 0;
  for (const StationTarget& station : scenario.stations) touches += station.touches.size();
  const double hours = (seconds_per_touch * static_cast<double>(touches) +
                        seconds_per_turn * static_cast<double>(scenario.stations.size())) /
                       3600.0;
  truth.drift_mm_per_hour =
      Eigen::Vector3d::Constant(disturbance.drift_mm_per_run / hours / std::sqrt(3.0));
  truth.linear_error << 0, disturbance.squareness, disturbance.squareness, 0, disturbance.scale,
      disturbance.squareness, 0, 0, 0;
  truth.linear_origin_mm = scenario.machine.rotary[0].side == AxisSide::work
                               ? scenario.machine.rotary[0].centre_mm
                               : scenario.machine.artefacts[0].at_mm;
  return truth;
}

}  // namespace pivotrace::testing

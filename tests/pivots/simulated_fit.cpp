#include "pivots/simulated_fit.h"

#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace::testing {

namespace {

Machine bare_machine(const std::string& name) {
  Machine machine;
  machine.name = name;
  machine.linear.travel_mm = {Range{-600, 0}, Range{-400, 0}, Range{-500, 0}};
  machine.linear.station_sigma_mm = 0.001;
  machine.linear.station_sigma_stated = true;
  machine.probe.stylus_diameter_u_mm = 0.0005;
  machine.probe.touch_sigma_mm = 0.0005;
  machine.probe.touch_sigma_stated = true;
  return machine;
}

RotaryAxis axis(char letter, LinearAxis along, const Eigen::Vector3d& centre_mm) {
  RotaryAxis rotary;
  rotary.letter = letter;
  rotary.along = along;
  rotary.direction = Eigen::Vector3d::Unit(static_cast<int>(along));
  rotary.positive_turn = TurnSense::left_hand;
  rotary.centre_mm = centre_mm;
  rotary.quote_at_mm = centre_mm[static_cast<int>(along)];
  rotary.index_sigma_rad = rad_from_arcsec(2.0);
  rotary.index_sigma_stated = true;
  return rotary;
}

Artefact ball(int carried_by, const Eigen::Vector3d& at_mm) {
  Artefact artefact;
  artefact.name = "ball";
  artefact.carried_by = carried_by;
  artefact.at_mm = at_mm;
  artefact.diameter_mm = 25.4;
  artefact.diameter_u_mm = 0.0003;
  return artefact;
}

std::vector<RotaryAngles> positions(const Machine& machine) {
  std::vector<RotaryAngles> all;
  constexpr int count = 12;
  for (std::size_t moving = 0; moving < machine.rotary.size(); ++moving) {
    for (int i = 0; i < count; ++i) {
      RotaryAngles angles{};
      angles[moving] = rad_from_deg(360.0 * i / count);
      all.push_back(angles);
    }
  }
  return all;
}

}  // namespace

Machine fourth_axis_machine() {
  Machine machine = bare_machine("invented fourth axis");
  machine.rotary = {axis('A', LinearAxis::X, {-300, -200, -250})};
  machine.artefacts = {ball(0, {-250, -200, -160})};
  return machine;
}

Machine axis_along_y_machine() {
  Machine machine = bare_machine("invented axis along Y");
  machine.rotary = {axis('B', LinearAxis::Y, {-300, -200, -250})};
  machine.artefacts = {ball(0, {-300, -150, -160})};
  return machine;
}

Machine round_table_machine() {
  Machine machine = bare_machine("invented round table");
  machine.rotary = {axis('C', LinearAxis::Z, {-300, -200, -400})};
  machine.artefacts = {ball(0, {-200, -200, -330})};
  return machine;
}

Machine trunnion_machine() {
  Machine machine = bare_machine("invented trunnion");
  machine.rotary = {axis('A', LinearAxis::X, {-300, -200, -250}),
                    axis('C', LinearAxis::Z, {-300, -200, -280})};
  machine.artefacts = {ball(1, {-220, -200, -190})};
  return machine;
}

FitResult simulated_fit(const Machine& machine, const MachineState& truth, std::uint64_t seed) {
  SurveyTruth real;
  real.state = truth;
  const SurveyNoise noise = stated_noise(machine, seed);
  std::vector<StationTarget> stations;
  for (const RotaryAngles& angles : positions(machine)) {
    stations.push_back({angles, false, ball_pattern(0, 6, 0.0, true)});
  }
  const Survey survey = synthesise_survey(machine, real, truth, stations, noise);
  const auto result = fit_survey(machine, survey);
  for (const Problem& problem : result ? Problems() : result.error()) MESSAGE(describe(problem));
  REQUIRE(result.has_value());
  REQUIRE(result->usable);
  return *result;
}

}  // namespace pivotrace::testing

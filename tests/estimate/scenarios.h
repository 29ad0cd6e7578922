// Invented machines and plans that the tests of the estimator share.
#pragma once

#include <cmath>
#include <numbers>
#include <vector>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace::testing {

struct Scenario {
  Machine machine;
  SurveyTruth truth;
  std::vector<StationTarget> stations;
  SurveyNoise noise;
};

inline Machine machine_frame(const char* name) {
  Machine machine;
  machine.name = name;
  machine.linear.travel_mm = {Range{-600, 0}, Range{-400, 0}, Range{-500, 0}};
  machine.linear.station_sigma_mm = 0.002;
  machine.linear.station_sigma_stated = true;
  machine.probe.stylus_diameter_mm = 6.0;
  machine.probe.stylus_diameter_u_mm = 0.0005;
  machine.probe.stylus_length_mm = 50.0;
  machine.probe.gauge_length_mm = 130.0;
  machine.probe.touch_sigma_mm = 0.001;
  machine.probe.touch_sigma_stated = true;
  // What no scatter shows is put in on purpose where a test is about it.
  machine.bounds = no_disturbance();
  return machine;
}

inline RotaryAxis rotary_axis(char letter, LinearAxis along, TurnSense sense,
                              const Eigen::Vector3d& centre_mm, double index_sigma_arcsec) {
  RotaryAxis axis;
  axis.letter = letter;
  axis.along = along;
  axis.direction = Eigen::Vector3d::Unit(static_cast<int>(along));
  axis.positive_turn = sense;
  axis.centre_mm = centre_mm;
  axis.quote_at_mm = axis.direction.dot(centre_mm);
  axis.index_sigma_rad = rad_from_arcsec(index_sigma_arcsec);
  axis.index_sigma_stated = true;
  axis.axis_motion_sigma_mm = 0.0;
  axis.axis_motion_sigma_stated = true;
  return axis;
}

inline Artefact ball(const char* name, int carried_by, const Eigen::Vector3d& at_mm) {
  Artefact artefact;
  artefact.name = name;
  artefact.kind = ArtefactKind::ball;
  artefact.carried_by = carried_by;
  artefact.at_mm = at_mm;
  artefact.diameter_mm = 25.4;
  artefact.diameter_u_mm = 0.0003;
  return artefact;
}

/// Truth that differs from nominal by a lean and a shift per axis and a few mm per artefact.
inline SurveyTruth leaning_truth(const Machine& machine, double lean_rad, double shift_mm) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  double side = 1.0;
  for (Line& line : truth.state.axis_lines) {
    const CrossPair cross = cross_pair(line.direction);
    line.point_mm += shift_mm * (side * cross.first - 0.6 * cross.second);
    line.direction =
        (line.direction + lean_rad * (0.8 * cross.first - side * 0.5 * cross.second)).normalized();
    side = -side;
  }
  for (ArtefactPlace& place : truth.state.artefacts)
    place.point_mm += Eigen::Vector3d(0.7, -0.4, 0.5);
  return truth;
}

/// Rotary A along X on the table, one ball 60 mm off its axis, full circle.
inline Scenario fourth_axis(int stations, int equator_touches, std::uint64_t seed) {
  Scenario s;
  s.machine = machine_frame("invented 4th axis");
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5)};
  s.machine.artefacts = {ball("ball", 0, {-270, -200, -190})};
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  for (int k = 0; k < stations; ++k) {
    StationTarget target;
    target.angles_rad[0] = 2.0 * std::numbers::pi * k / stations;
    target.touches = ball_pattern(0, equator_touches, 0.3, true);
    s.stations.push_back(target);
  }
  s.noise = stated_noise(s.machine, seed);
  return s;
}

/// Reached from one side as by the probing cycle, or straight from the angle before where the machine
/// has a reversal to show.
inline Survey survey_of(const Scenario& s) {
  const bool reverses = s.truth.reversal_rad != RotaryAngles{};
  return synthesise_survey(s.machine, s.truth, s.truth.state, s.stations, s.noise,
                           reverses ? Arrivals::by_order : Arrivals::one_side);
}

/// The same contacts read by an indicator whose tip stands out further than its zero says.
inline Survey read_by_indicator(Survey survey, double zero_mm) {
  for (Touch& touch : survey.touches) {
    touch.kind = TouchKind::indicator;
    touch.shown_mm -= zero_mm * *touch.approach;
  }
  survey.settings = {"1"};
  return survey;
}

/// One row per ball and angle of the first axis that states its centre in this state, without noise.
inline Survey centre_rows(const Machine& machine, const MachineState& state,
                          const std::vector<double>& angles_rad) {
  Survey survey;
  for (const double angle : angles_rad) {
    Station stay;
    stay.label = std::to_string(survey.stations.size() + 1);
    stay.angles_rad[0] = angle;
    stay.first_touch = static_cast<int>(survey.touches.size());
    stay.touch_count = static_cast<int>(machine.artefacts.size());
    for (int a = 0; a < stay.touch_count; ++a) {
      Touch row;
      row.label = std::to_string(survey.touches.size() + 1);
      row.station = static_cast<int>(survey.stations.size());
      row.artefact = a;
      row.kind = TouchKind::centre;
      row.shown_mm =
          machine_from_carried(machine, state, 0, state.artefacts[a].point_mm, stay.angles_rad);
      survey.touches.push_back(row);
    }
    survey.stations.push_back(stay);
  }
  return survey;
}

}  // namespace pivotrace::testing

#include "jobs.h"

#include <cmath>

#include "machines.h"

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

/// A round table turns, then the cradle that carries it tilts with the table at rest; all of it there
/// and back, as the probing cycle does.
Scenario trunnion_and_table() {
  Scenario s;
  s.machine = machine_frame("invented trunnion with table");
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-250, -220, -310}, 4),
                      rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, {-250, -220, -330}, 4)};
  s.machine.artefacts = {ball("ball", 1, {-180, -220, -270})};
  s.truth = leaning_truth(s.machine, 0.0003, 0.1);
  const auto stay = [&](double a_deg, double c_deg) {
    StationTarget target;
    target.angles_rad = degrees(a_deg, c_deg);
    target.touches = ball_pattern(0, 5, 0.3, true);
    s.stations.push_back(target);
  };
  for (int k = 0; k <= 10; ++k) stay(0.0, 60.0 * (k <= 5 ? k : 10 - k));
  for (int k = 0; k <= 10; ++k) stay(-25.0 + 25.0 * (k <= 5 ? k : 10 - k), 0.0);
  return s;
}

/// A control that shows inches to a hundred-thousandth.
Survey in_inches(Survey survey, const SurveyTruth&) {
  constexpr double shown_mm = 25.4e-5;
  for (Touch& touch : survey.touches) {
    for (double& value : touch.shown_mm) value = std::round(value / shown_mm) * shown_mm;
  }
  return survey;
}

/// A control that works out the centre of a ball by itself, coordinate by coordinate from its own touch,
/// and knows the diameters as they are.
Survey as_centres(Survey survey, const SurveyTruth& truth) {
  const double reach_mm = truth.state.artefacts[0].radius_mm + truth.state.stylus_radius_mm;
  Survey centres = survey;
  centres.touches.clear();
  for (Station& station : centres.stations) {
    Touch row = survey.touches[station.first_touch];
    row.kind = TouchKind::centre;
    for (int k = 0; k < 3; ++k) {
      row.shown_mm[k] = survey.touches[station.first_touch + k].shown_mm[k] - reach_mm;
    }
    row.approach.reset();
    row.label = std::to_string(centres.touches.size() + 1);
    station.first_touch = static_cast<int>(centres.touches.size());
    station.touch_count = 1;
    centres.touches.push_back(row);
  }
  return centres;
}

Job ball_centres() {
  Scenario s = fourth_axis(8, 4, 1);
  for (StationTarget& station : s.stations) {
    station.touches.clear();
    for (int k = 0; k < 3; ++k) station.touches.push_back({0, Eigen::Vector3d::Unit(k)});
  }
  return {"ball centres, 8 stations", std::move(s), as_centres};
}

/// Nobody knows how far the indicator stands out. The spindle turns it to every side, so no offset of a
/// stylus is left in the readings.
Survey by_turned_indicator(Survey survey, const SurveyTruth& truth) {
  for (Touch& touch : survey.touches) touch.shown_mm += truth.state.stylus_offset_mm;
  return read_by_indicator(std::move(survey), 0.4);
}

Job bar_by_indicator() {
  Scenario s = pin_job();
  for (StationTarget& station : s.stations) {
    station.touches = all_round(s.machine, 0, station.angles_rad);
  }
  return {"bar in a chuck, by indicator", std::move(s), by_turned_indicator, false};
}

/// Every other station with the spindle turned half round: what cancels need not be known.
Scenario both_sides_of_spindle() {
  Scenario s = fourth_axis(8, 4, 1);
  bool flip = false;
  for (StationTarget& station : s.stations) {
    station.flip = flip;
    flip = !flip;
  }
  return s;
}

Scenario short_arc() {
  Scenario s = fourth_axis(6, 4, 1);
  for (std::size_t k = 0; k < s.stations.size(); ++k) {
    s.stations[k].angles_rad = degrees(-25.0 + 10.0 * static_cast<double>(k));
  }
  return s;
}

Scenario swivel_by_tip() {
  Scenario s = swivel_job();
  s.machine.probe.length_datum = LengthDatum::tip;
  return s;
}

/// Motion of the axes and an uncertain stylus, as every real machine has them.
void as_machines_are(Scenario& s) {
  s.machine.probe.offset_u_mm = {0.001, 0.001, 0.001};
  for (RotaryAxis& axis : s.machine.rotary) axis.axis_motion_sigma_mm = 0.001;
  s.noise = stated_noise(s.machine, 1);
}

}  // namespace

std::vector<Job> coverage_jobs() {
  std::vector<Job> jobs = {{"4th axis, 12 stations x 5 touches", fourth_axis_job(12, false), {}},
                           {"4th axis, 12 stations x 25 touches", fourth_axis_job(12, true), {}},
                           {"4th axis, 4 stations x 5 touches", fourth_axis_job(4, false), {}},
                           {"trunnion -30..100, 5 stations, 2 balls", trunnion_job(), {}},
                           {"pin in chuck, 2 sections x 4 x 3", pin_job(), {}},
                           {"swivel head +-60, 5 stations x 6", swivel_job(), {}}};
  for (Job& job : jobs) as_machines_are(job.scenario);
  return jobs;
}

std::vector<Job> further_jobs() {
  std::vector<Job> jobs = {{"trunnion and table, there and back", trunnion_and_table(), {}}};
  for (NamedScenario& named : every_machine()) {
    jobs.push_back({named.name, std::move(named.scenario), {}});
  }
  jobs.push_back({"4th axis, record in inches", fourth_axis_job(6, false), in_inches});
  jobs.push_back({"swivel head, length to the tip", swivel_by_tip(), {}});
  jobs.push_back({"both sides of the spindle", both_sides_of_spindle(), {}});
  jobs.push_back({"short arc, -25..25", short_arc(), {}});
  jobs.push_back(ball_centres());
  jobs.push_back(bar_by_indicator());
  for (Job& job : jobs) as_machines_are(job.scenario);
  return jobs;
}

std::vector<Job> all_jobs() {
  std::vector<Job> jobs = coverage_jobs();
  for (Job& job : further_jobs()) jobs.push_back(std::move(job));
  return jobs;
}

}  // namespace pivotrace::testing

#include "examples/example_surveys.h"

#include <fmt/format.h>

#include <cmath>
#include <functional>
#include <numbers>

#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/line_chart.h"

namespace pivotrace::examples {

namespace {

/// A touch closer to the stem than this would meet the stem or its fillet.
constexpr double stem_clearance_rad = 0.9;

Eigen::Vector3d stem_in_machine(const Machine& machine, int artefact, const RotaryAngles& angles) {
  return machine_from_carried_rotation(machine, nominal_state(machine),
                                       machine.artefacts[artefact].carried_by, angles) *
         machine.artefacts[artefact].stem->direction.normalized();
}

/// Five equator touches and the pole, without those the stem is in the way of.
StationTarget ball_station(const Machine& machine, const RotaryAngles& angles) {
  StationTarget target;
  target.angles_rad = angles;
  const Eigen::Vector3d stem = stem_in_machine(machine, 0, angles);
  for (const TouchTarget& touch : ball_pattern(0, 5, rad_from_deg(18.0), true)) {
    if (touch.outward.dot(stem) < std::cos(stem_clearance_rad)) target.touches.push_back(touch);
  }
  return target;
}

/// Moves a nominal line: shifts in the quoted plane [mm] and leans [rad] along its cross pair.
void displace(SurveyTruth& truth, int axis, double shift_first, double shift_second,
              double lean_first, double lean_second) {
  const LineChart chart(truth.state.axis_lines[axis]);
  truth.state.axis_lines[axis] =
      chart.line(LineParameters(shift_first, shift_second, lean_first, lean_second));
}

/// A control shows four decimals of a millimetre; adding 0.0 turns -0 into 0.
double displayed(double value) { return std::round(value * 1e4) / 1e4 + 0.0; }

ExampleSurvey made(const std::string& file, const std::string& machine_file,
                   const std::string& story, const Machine& machine, const SurveyTruth& truth,
                   const std::vector<StationTarget>& stations, const SurveyNoise& noise) {
  ExampleSurvey example{file, machine_file, story, "", truth, {}};
  example.survey =
      synthesise_survey(machine, truth, truth.state, stations, noise, Arrivals::one_side);
  example.survey.started = "2026-03-02T08:15:00Z";
  example.survey.simulated = true;
  for (Touch& touch : example.survey.touches) {
    touch.shown_mm = touch.shown_mm.unaryExpr(&displayed);
    touch.approach = touch.approach->unaryExpr(&displayed);
  }
  return example;
}

ExampleSurvey fourth_axis(const Machine& machine) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  displace(truth, 0, 0.0873, -0.0621, 0.00021, -0.00034);
  truth.state.artefacts[0].point_mm += Eigen::Vector3d(0.41, -0.27, 0.36);
  std::vector<StationTarget> stations;
  for (int k = 0; k < 12; ++k) stations.push_back(ball_station(machine, {rad_from_deg(30.0 * k)}));
  return made("fourth-axis.touches.csv", "fourth-axis.machine.toml",
              "A newly mounted 4th axis: one ball, twelve angles", machine, truth, stations,
              stated_noise(machine, 20260302));
}

ExampleSurvey trunnion(const Machine& machine) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  displace(truth, 0, -0.0312, 0.0455, 0.00012, 0.00025);
  displace(truth, 1, 0.0188, -0.0274, -0.00016, 0.00009);
  truth.state.artefacts[0].point_mm += Eigen::Vector3d(-0.33, 0.52, 0.18);
  std::vector<StationTarget> stations;
  for (int k = 0; k < 6; ++k) {
    stations.push_back(ball_station(machine, {0.0, rad_from_deg(60.0 * k)}));
  }
  for (const double tilt_deg : {-30.0, 30.0, 65.0, 100.0}) {
    for (const double turn_deg : {0.0, 180.0}) {
      stations.push_back(ball_station(machine, {rad_from_deg(tilt_deg), rad_from_deg(turn_deg)}));
    }
  }
  return made("trunnion.touches.csv", "trunnion.machine.toml",
              "A tilting round table: one ball, six turns flat and four tilts", machine, truth,
              stations, stated_noise(machine, 20260303));
}

/// A turned pin in the chuck, a little bent: two sections, three touches each, eight angles.
ExampleSurvey pin_in_chuck(const Machine& machine) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  displace(truth, 0, 0.0412, -0.0238, -0.00018, 0.00011);
  truth.state.artefacts[0].point_mm += Eigen::Vector3d(0.0, 0.035, -0.052);
  truth.state.artefacts[0].direction = Eigen::Vector3d(1.0, 0.0008, -0.0005).normalized();
  std::vector<StationTarget> stations;
  for (int k = 0; k < 8; ++k) {
    StationTarget target;
    target.angles_rad[0] = rad_from_deg(45.0 * k);
    for (const double along_mm : {15.0, 70.0}) {
      const auto touches = round_pattern(machine, 0, target.angles_rad, 3, along_mm,
                                         Eigen::Vector3d::UnitZ(), rad_from_deg(90.0));
      target.touches.insert(target.touches.end(), touches.begin(), touches.end());
    }
    stations.push_back(target);
  }
  return made("pin-in-chuck.touches.csv", "pin-in-chuck.machine.toml",
              "A pin in the chuck: two sections, eight angles", machine, truth, stations,
              stated_noise(machine, 20260305));
}

ExampleSurvey swivel_head(const Machine& machine) {
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  displace(truth, 0, 0.0226, -0.0174, 0.00014, -0.00021);
  truth.state.artefacts[0].point_mm += Eigen::Vector3d(0.22, -0.31, 0.15);
  std::vector<StationTarget> stations;
  for (const double swivel_deg : {0.0, -60.0, -30.0, 30.0, 60.0, 0.0}) {
    stations.push_back(ball_station(machine, {rad_from_deg(swivel_deg)}));
  }
  return made("swivel-head.touches.csv", "swivel-head.machine.toml",
              "A swivel head: one ball on the table, five swivel angles, the first repeated",
              machine, truth, stations, stated_noise(machine, 20260307));
}

/// Eight ball centres somebody worked out and typed in.
ExampleSurvey typed_centres(const Machine& machine) {
  ExampleSurvey example = fourth_axis(machine);
  example.file = "ball-centres.touches.csv";
  example.story = "Eight ball centres typed in by hand";
  Survey survey;
  survey.machine_name = machine.name;
  const MachineState& state = example.truth.state;
  for (int k = 0; k < 8; ++k) {
    Station station;
    station.angles_rad[0] = rad_from_deg(45.0 * k);
    station.first_touch = k;
    station.touch_count = 1;
    Touch row;
    row.station = k;
    row.kind = TouchKind::centre;
    const Eigen::Vector3d centre =
        machine_from_carried(machine, state, 0, state.artefacts[0].point_mm, station.angles_rad);
    // Read off a display with three decimals.
    row.shown_mm = (centre * 1000.0).array().round() / 1000.0;
    survey.touches.push_back(row);
    survey.stations.push_back(station);
  }
  example.survey = survey;
  return example;
}

/// What the year of checks shows.
constexpr int month_of_shift = 7;  // July: shifted since June
constexpr double shifted_mm = 0.030;
constexpr double sinks_mm_per_month = 0.004;
constexpr int month_of_calibration = 10;

ExampleSurvey monthly_check(const Machine& machine, int month) {
  const bool calibrated = month >= month_of_calibration;
  SurveyTruth truth;
  truth.state = nominal_state(machine);
  displace(truth, 0, 0.0873 + (month >= month_of_shift ? shifted_mm : 0.0),
           -0.0621 - sinks_mm_per_month * (month - 1), 0.00021, -0.00034);
  truth.state.artefacts[0].point_mm +=
      Eigen::Vector3d(0.41 - 0.05 * month, -0.27 + 0.03 * month, 0.36 - 0.02 * month);
  truth.state.stylus_offset_mm += calibrated ? Eigen::Vector3d(-0.0006, 0.0004, -0.0015)
                                             : Eigen::Vector3d(0.0005, -0.0007, 0.0020);
  std::vector<StationTarget> stations;
  for (int k = 0; k < 6; ++k) stations.push_back(ball_station(machine, {rad_from_deg(60.0 * k)}));
  SurveyNoise noise = stated_noise(machine, 20250100 + static_cast<std::uint64_t>(month));
  noise.axes_seed = 20250100;
  ExampleSurvey check =
      made(fmt::format("year/2025-{:02}.touches.csv", month), "fourth-axis.machine.toml",
           fmt::format("Monthly check {} of 12: one ball, six angles", month), machine, truth,
           stations, noise);
  check.survey.started = fmt::format("2025-{:02}-06T07:30:00Z", month);
  check.conditions = {"probe: probe 1 with the 6 mm stylus",
                      fmt::format("probe_calibrated: {}", calibrated ? "2025-10-02" : "2025-01-02"),
                      "axes_while_touched: clamped", "artefacts: ball = ball 7"};
  return check;
}

std::string line_text(const Machine& machine, std::size_t axis, const MachineState& state) {
  const RotaryAxis& rotary = machine.rotary[axis];
  const Line& line = state.axis_lines[axis];
  const Eigen::Vector3d at = pierce_plane(line, rotary.direction, rotary.quote_at_mm);
  return fmt::format(
      "# true line of {}: through X{:.4f} Y{:.4f} Z{:.4f}, direction {:.6f} {:.6f} {:.6f}\n",
      rotary.letter, at.x(), at.y(), at.z(), line.direction.x(), line.direction.y(),
      line.direction.z());
}

/// What one spoiled survey changes before the touches are made and afterwards.
struct Spoiling {
  std::string name;
  std::string story;
  std::string finding;
  std::function<void(SurveyTruth&, SurveyNoise&)> before = [](SurveyTruth&, SurveyNoise&) {};
  std::function<void(Survey&)> after = [](Survey&) {};
  std::vector<double> angles_deg = {};  ///< empty: every 30 deg
};

void shift_station(Survey& survey, int station, const Eigen::Vector3d& by_mm) {
  const Station& stay = survey.stations[station];
  for (int t = 0; t < stay.touch_count; ++t) survey.touches[stay.first_touch + t].shown_mm += by_mm;
}

std::vector<Spoiling> spoilings() {
  std::vector<Spoiling> all(10);
  all[0] = {"chip", "A chip on the ball under one touch", "bad-touch"};
  all[0].after = [](Survey& s) { s.touches[26].shown_mm -= 0.06 * *s.touches[26].approach; };
  all[1] = {"slipped-clamp", "The clamp let the axis creep at one station", "station-slipped"};
  all[1].after = [](Survey& s) {
    // At 60 deg, across the line from the axis to the ball: 0.045 mm of the way round. At 90 deg only
    // the touch from above would see it, and nobody could tell a slip from one bad touch.
    shift_station(s, 2, {0.0, -0.0227, 0.0389});
  };
  all[2] = {"wrong-stylus", "A stylus 0.03 mm larger than the machine file says",
            "diameter-disagrees"};
  all[2].before = [](SurveyTruth& truth, SurveyNoise&) { truth.state.stylus_radius_mm += 0.015; };
  all[3] = {"moved-ball", "The ball was knocked half-way through", "artefact-moved"};
  all[3].after = [](Survey& s) {
    // Along the axis, so that the shift is the same in the machine and in the carried frame.
    for (int station = 6; station < 12; ++station) shift_station(s, station, {0.08, 0.0, 0.0});
  };
  all[4] = {"cold-start", "A machine warming up: 0.15 mm per hour", "drift-seen"};
  all[4].before = [](SurveyTruth& truth, SurveyNoise&) {
    truth.drift_mm_per_hour = {0.02, 0.03, 0.15};
  };
  all[5] = {"wrong-sense", "The axis turns the other way than the machine file says", "P205"};
  all[5].before = [](SurveyTruth& truth, SurveyNoise&) {
    truth.state.turns[0] = TurnSense::right_hand;
  };
  all[6] = {"two-angles", "Only 0 and 180 deg were touched", "P201"};
  all[6].angles_deg = {0.0, 180.0};
  all[7] = {"short-arc", "Only 40 deg of the turn were touched", "arc-too-short"};
  all[7].angles_deg = {0.0, 8.0, 16.0, 24.0, 32.0, 40.0};
  all[8] = {"out-of-square", "Y and Z out of square by 0.4 mm per metre", "linear-axes-two-lobed"};
  all[8].before = [](SurveyTruth& truth, SurveyNoise&) {
    truth.linear_error(1, 2) = 0.0004;
    truth.linear_origin_mm = truth.state.axis_lines[0].point_mm;
  };
  all[9] = {"tired-probe", "A probe that repeats ten times worse than stated",
            "scatter-larger-than-stated"};
  all[9].before = [](SurveyTruth&, SurveyNoise& noise) { noise.touch_sigma_mm *= 10.0; };
  return all;
}

ExampleSurvey spoiled(const Machine& machine, const Spoiling& spoiling) {
  SurveyTruth truth = fourth_axis(machine).truth;
  SurveyNoise noise = stated_noise(machine, 20260304);
  spoiling.before(truth, noise);
  std::vector<double> angles_deg = spoiling.angles_deg;
  if (angles_deg.empty()) {
    for (int k = 0; k < 12; ++k) angles_deg.push_back(30.0 * k);
  }
  std::vector<StationTarget> stations;
  for (const double angle_deg : angles_deg) {
    stations.push_back(ball_station(machine, {rad_from_deg(angle_deg)}));
  }
  ExampleSurvey example =
      made("spoiled-" + spoiling.name + ".touches.csv", "fourth-axis.machine.toml", spoiling.story,
           machine, truth, stations, noise);
  spoiling.after(example.survey);
  for (Touch& touch : example.survey.touches) touch.shown_mm = touch.shown_mm.unaryExpr(&displayed);
  example.finding = spoiling.finding;
  return example;
}

}  // namespace

Expected<std::vector<ExampleSurvey>> spoiled_surveys(const std::string& examples_folder) {
  const Expected<Machine> machine = read_machine(examples_folder + "/fourth-axis.machine.toml");
  if (!machine) return tl::make_unexpected(machine.error());
  std::vector<ExampleSurvey> surveys;
  for (const Spoiling& spoiling : spoilings()) surveys.push_back(spoiled(*machine, spoiling));
  return surveys;
}

Expected<std::vector<ExampleSurvey>> demo_surveys(const std::string& examples_folder) {
  std::vector<ExampleSurvey> surveys;
  const auto add = [&](const char* machine_file,
                       ExampleSurvey (*make)(const Machine&)) -> Problems {
    const Expected<Machine> machine = read_machine(examples_folder + "/" + machine_file);
    if (!machine) return machine.error();
    surveys.push_back(make(*machine));
    return {};
  };
  for (const auto& [file, make] : {std::pair{"fourth-axis.machine.toml", &fourth_axis},
                                   std::pair{"trunnion.machine.toml", &trunnion},
                                   std::pair{"pin-in-chuck.machine.toml", &pin_in_chuck},
                                   std::pair{"swivel-head.machine.toml", &swivel_head},
                                   std::pair{"fourth-axis.machine.toml", &typed_centres}}) {
    if (Problems problems = add(file, make); !problems.empty()) {
      return tl::make_unexpected(std::move(problems));
    }
  }
  return surveys;
}

Expected<std::vector<ExampleSurvey>> year_surveys(const std::string& examples_folder) {
  const Expected<Machine> machine = read_machine(examples_folder + "/fourth-axis.machine.toml");
  if (!machine) return tl::make_unexpected(machine.error());
  std::vector<ExampleSurvey> checks;
  for (int month = 1; month <= 12; ++month) checks.push_back(monthly_check(*machine, month));
  return checks;
}

std::string record_text(const ExampleSurvey& example, const Machine& machine) {
  std::string text =
      "# " + example.story + ".\n# Invented data from a simulation, not from a real machine.\n";
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    text += line_text(machine, axis, example.truth.state);
  }
  for (const std::string& condition : example.conditions) text += "# " + condition + "\n";
  if (example.survey.touches.front().kind == TouchKind::touch) {
    return text + write_survey(example.survey, machine);
  }
  text += "# units: mm\n# kind: centre\n# simulated: yes\nA,X,Y,Z\n";
  for (const Touch& row : example.survey.touches) {
    text += fmt::format("{:g},{:.3f},{:.3f},{:.3f}\n",
                        deg_from_rad(example.survey.stations[row.station].angles_rad[0]),
                        row.shown_mm.x(), row.shown_mm.y(), row.shown_mm.z());
  }
  return text;
}

}  // namespace pivotrace::examples

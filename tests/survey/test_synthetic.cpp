#include <doctest/doctest.h>

#include <Eigen/LU>
#include <cmath>
#include <numbers>

#include "estimate/scenarios.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/survey/synthetic.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

double gap_of(const Scenario& s, const Survey& survey, const Touch& touch) {
  const RotaryAngles& angles = survey.stations[touch.station].angles_rad;
  const Artefact& artefact = s.machine.artefacts[touch.artefact];
  const Eigen::Vector3d stylus =
      stylus_in_machine(s.machine, s.truth.state, touch.shown_mm, angles, touch.flip);
  const Eigen::Vector3d carried =
      carried_from_machine(s.machine, s.truth.state, artefact.carried_by, stylus, angles);
  return gap_mm(artefact.kind, s.truth.state.artefacts[touch.artefact],
                s.truth.state.stylus_radius_mm, carried);
}

Scenario quiet() {
  Scenario s = fourth_axis(8, 5, 1);
  s.noise = SurveyNoise{};
  return s;
}

}  // namespace

TEST_CASE("without noise every synthetic touch lies on the true surface, wherever it was aimed") {
  Scenario s = quiet();
  MachineState aim = s.truth.state;
  aim.artefacts[0].point_mm +=
      Eigen::Vector3d(1.5, -1.0, 0.8);  // the ball is not where it is believed
  const Survey survey = synthesise_survey(s.machine, s.truth, aim, s.stations, s.noise);
  CHECK(survey.touches.size() == 48);
  for (const Touch& touch : survey.touches) CHECK(std::abs(gap_of(s, survey, touch)) < 1e-10);
}

TEST_CASE("touch noise has the stated sigma along the normal") {
  Scenario s = fourth_axis(400, 5, 9);
  s.noise.station_sigma_mm = 0.0;
  s.noise.index_sigma_rad = {};
  s.noise.touch_sigma_mm = 0.003;
  const Survey survey = survey_of(s);
  double sum = 0.0;
  for (const Touch& touch : survey.touches) sum += std::pow(gap_of(s, survey, touch), 2);
  const auto n = static_cast<double>(survey.touches.size());
  // The variance of n normal numbers has relative standard error sqrt(2/n): five are allowed.
  CHECK(std::abs(sum / n / (0.003 * 0.003) - 1.0) < 5.0 * std::sqrt(2.0 / n));
}

TEST_CASE("a station error moves all touches of a station together, an index error turns them") {
  Scenario s = quiet();
  s.noise.station_sigma_mm = 0.01;
  const Survey shifted = survey_of(s);
  const Survey clean = survey_of(quiet());
  for (const Station& stay : clean.stations) {
    // The pole touch sees Z, opposite equator touches see X and Y: the same shift explains them all.
    Eigen::MatrixXd normals(stay.touch_count, 3);
    Eigen::VectorXd gaps(stay.touch_count);
    for (int t = 0; t < stay.touch_count; ++t) {
      const Touch& touch = shifted.touches[stay.first_touch + t];
      normals.row(t) = -touch.approach->transpose();
      gaps[t] = gap_of(s, shifted, touch);
    }
    const Eigen::Vector3d shift =
        (normals.transpose() * normals).inverse() * normals.transpose() * gaps;
    // Second order: (0.03 mm)^2 / 15 mm.
    CHECK((normals * shift - gaps).cwiseAbs().maxCoeff() < 1e-4);
    CHECK(shift.norm() > 1e-4);
  }
}

TEST_CASE(
    "a three-lobed probe shifts the centre of a four-touch equator by its amplitude, of five by "
    "nothing") {
  // Source: computed in the project's metrology notes, a cos 3 phi on N equally spaced touches.
  for (const int touches : {4, 5}) {
    Scenario s = quiet();
    s.stations.resize(1);
    s.stations[0].touches = ball_pattern(0, touches, 0.0, false);
    s.truth.lobing_amplitude_mm = 0.002;
    const Survey survey = survey_of(s);
    Eigen::Vector2d shift = Eigen::Vector2d::Zero();
    for (const Touch& touch : survey.touches) {
      const Eigen::Vector2d outward = -touch.approach->head<2>();
      shift += 2.0 / touches * gap_of(s, survey, touch) * outward;
    }
    CHECK(shift.norm() == doctest::Approx(touches == 4 ? 0.002 : 0.0).epsilon(0.01));
  }
}

TEST_CASE("drift, reversal and flip act as they are told") {
  Scenario s = quiet();
  s.truth.drift_mm_per_hour = {0.0, 0.0, 3.6};  // 1 um per second
  Survey survey = survey_of(s);
  const Touch& pole = survey.touches[5];
  CHECK(gap_of(s, survey, pole) == doctest::Approx(-1e-3 * *pole.time_s).epsilon(1e-3));

  s = quiet();
  s.truth.reversal_rad[0] = 1e-4;
  survey = survey_of(s);
  CHECK(std::abs(gap_of(s, survey, survey.touches[0])) <
        1e-9);  // first station: the axis did not move
  double largest = 0.0;
  for (const Touch& touch : survey.touches)
    largest = std::max(largest, std::abs(gap_of(s, survey, touch)));
  CHECK(largest == doctest::Approx(1e-4 * 60.0).epsilon(0.05));  // ball 60 mm from the axis

  s = quiet();
  s.truth.state.stylus_offset_mm = {0.02, 0.0, 0.0};
  for (StationTarget& station : s.stations) station.flip = true;
  survey = survey_of(s);
  for (const Touch& touch : survey.touches) {
    CHECK(touch.flip);
    CHECK(std::abs(gap_of(s, survey, touch)) < 1e-10);
  }
}

TEST_CASE("a touch aimed past the artefact is left out, not invented") {
  Scenario s = quiet();
  MachineState aim = s.truth.state;
  aim.artefacts[0].point_mm += Eigen::Vector3d(0.0, 0.0, 40.0);
  const Survey survey = synthesise_survey(s.machine, s.truth, aim, s.stations, s.noise);
  CHECK(survey.touches.size() < 48);
}

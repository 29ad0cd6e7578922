// Simulated machines keep what repeats: an axis that rests keeps its error, and it comes back.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "estimate/machines.h"
#include "pivotrace/survey/disturbances.h"
#include "pivotrace/survey/resting_axes.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

constexpr double deg = std::numbers::pi / 180.0;

SurveyNoise index_noise() {
  SurveyNoise noise;
  noise.index_sigma_rad[0] = 1e-5;
  noise.axis_motion_sigma_mm[0] = 0.001;
  noise.seed = 3;
  return noise;
}

}  // namespace

TEST_CASE("an index position has one error and one motion, whenever the axis comes back to it") {
  const SurveyTruth truth;
  const SurveyNoise noise = index_noise();
  RestingAxes axes(truth, noise);
  axes.arrive(0, 30.0 * deg, 1);
  const double error = axes.errors_rad()[0];
  const Eigen::Vector3d motion = axes.motions_mm()[0];
  CHECK(error != 0.0);
  axes.arrive(0, 90.0 * deg, 1);
  CHECK(axes.errors_rad()[0] != error);
  SUBCASE("a whole turn further is the same position") { axes.arrive(0, 390.0 * deg, 1); }
  SUBCASE("so is half a degree beside it") { axes.arrive(0, 30.5 * deg, 1); }
  SUBCASE("and coming back to it") { axes.arrive(0, 30.0 * deg, 1); }
  CHECK(axes.errors_rad()[0] == error);
  CHECK(axes.motions_mm()[0] == motion);
  axes.arrive(0, 30.0 * deg, -1);
  CHECK(axes.errors_rad()[0] != error);
}

TEST_CASE("a machine met again has its own errors, place by place, whatever the order") {
  const SurveyTruth truth;
  SurveyNoise noise = index_noise();
  noise.axes_seed = 17;
  const auto error_at = [&](std::initializer_list<double> angles_deg, std::uint64_t seed) {
    noise.seed = seed;
    RestingAxes axes(truth, noise);
    for (const double angle : angles_deg) axes.arrive(0, angle * deg, 1);
    return axes.errors_rad()[0];
  };
  const double error = error_at({90.0}, 1);
  CHECK(error_at({90.0}, 2) == error);
  CHECK(error_at({0.0, 45.0, 90.0}, 3) == error);
  CHECK(error_at({90.0, 450.0}, 3) == error);
  CHECK(error_at({45.0}, 1) != error);
  CHECK(error_at({-270.0}, 1) == error);
  // Neighbours are as independent as any: of 360 products of two the mean is 0 to within five of its sigmas.
  double products = 0.0;
  for (int k = 0; k < 360; ++k) {
    products += error_at({static_cast<double>(k)}, 1) * error_at({k + 0.5}, 1) / 1e-10;
  }
  CHECK(std::abs(products / 360.0) < 5.0 / std::sqrt(360.0));
}

TEST_CASE("what does not repeat is drawn at every arrival") {
  const SurveyTruth truth;
  SurveyNoise noise = index_noise();
  noise.index_repeat_sigma_rad[0] = 1e-5;
  RestingAxes axes(truth, noise);
  axes.arrive(0, 0.5, 1);
  const double first = axes.errors_rad()[0];
  const Eigen::Vector3d motion = axes.motions_mm()[0];
  axes.arrive(0, 0.5, 1);
  CHECK(axes.errors_rad()[0] != first);
  CHECK(axes.motions_mm()[0] == motion);
}

TEST_CASE("index errors and motions scatter as their sigmas say") {
  const SurveyTruth truth;
  const SurveyNoise noise = index_noise();
  double angles = 0.0;
  double motions = 0.0;
  constexpr int seeds = 4000;
  for (int k = 0; k < seeds; ++k) {
    SurveyNoise drawn = noise;
    drawn.seed = static_cast<std::uint64_t>(k);
    RestingAxes axes(truth, drawn);
    axes.arrive(0, 1.0, 1);
    angles += std::pow(axes.errors_rad()[0] / 1e-5, 2);
    motions += (axes.motions_mm()[0] / 0.001).squaredNorm() / 3.0;
  }
  // The mean of n squared normals has standard error sqrt(2/n): five are allowed.
  CHECK(std::abs(angles / seeds - 1.0) < 5.0 * std::sqrt(2.0 / seeds));
  CHECK(std::abs(motions / seeds - 1.0) < 5.0 * std::sqrt(2.0 / (3.0 * seeds)));
}

TEST_CASE("a motion displaces what the axis carries in the frame of what carries the axis") {
  Scenario s =
      with_artefacts("trunnion",
                     {rotary_axis('A', LinearAxis::X, TurnSense::right_hand, {0, 0, 0}, 0),
                      rotary_axis('C', LinearAxis::Z, TurnSense::right_hand, {0, 0, 0}, 0)},
                     {ball("ball", 1, {50, 0, 0})}, {degrees(0, 0)});
  AxisMotions motions = no_motion();
  motions[1] = {0.0, 0.0, 0.01};  // along C itself: with A at 90 deg that is against Y
  const MachineState state = nominal_state(s.machine);
  const Eigen::Vector3d moved =
      work_displacement_mm(s.machine, state, 1, degrees(90.0, 30.0), motions);
  CHECK((moved - Eigen::Vector3d(0.0, -0.01, 0.0)).norm() < 1e-15);
  CHECK(work_displacement_mm(s.machine, state, 0, degrees(90.0, 30.0), motions).norm() == 0.0);
}

TEST_CASE("sigmas drawn about the file's have the mean variance of the inverse chi-squared") {
  SurveyNoise stated;
  stated.touch_sigma_mm = 1.0;
  double sum = 0.0;
  constexpr int seeds = 20000;
  for (int k = 0; k < seeds; ++k) {
    stated.seed = static_cast<std::uint64_t>(k);
    sum += std::pow(drawn_about(stated, 8.0).touch_sigma_mm, 2);
  }
  // n / chi2(n): mean n / (n - 2) = 8/6, variance 2 n^2 / ((n - 2)^2 (n - 4)) = 8/9.
  CHECK(std::abs(sum / seeds - 8.0 / 6.0) < 5.0 * std::sqrt(8.0 / 9.0 / seeds));
}

TEST_CASE("a disturbance at its bound is as large as the bound, whichever way it goes") {
  RandomStream random(5);
  for (const BoundKind kind : {BoundKind::lobing, BoundKind::drift, BoundKind::squareness,
                               BoundKind::scale, BoundKind::place, BoundKind::index_wave}) {
    const Bound bound{kind, 0, 0.004, BoundSource::stated};
    Eigen::VectorXd response(components(kind));
    for (double& one : response) one = random.normal();
    const Eigen::VectorXd worst = worst_components(bound, response);
    const Eigen::VectorXd drawn = drawn_components(bound, random);
    if (limits_length(kind)) {
      CHECK(worst.norm() == doctest::Approx(0.004));
      CHECK(drawn.norm() <= 0.004);
    } else if (kind == BoundKind::place) {
      for (int slide = 0; slide < 3; ++slide) {
        CHECK(worst.segment<3>(3 * slide).norm() == doctest::Approx(0.004));
        CHECK(drawn.segment<3>(3 * slide).norm() <= 0.004);
      }
    } else {
      CHECK(worst.cwiseAbs().minCoeff() == doctest::Approx(0.004));
      CHECK(drawn.cwiseAbs().maxCoeff() <= 0.004);
    }
    // No other choice within the bound shifts more.
    CHECK(response.dot(worst) >= response.dot(drawn));
  }
}

TEST_CASE("bow, wave and lobing come out of the simulator as they were put in") {
  SurveyTruth truth;
  SurveyFrame frame;
  frame.middle_mm = {10.0, 20.0, 30.0};
  frame.hours = 0.5;
  Eigen::VectorXd bow = Eigen::VectorXd::Zero(9);
  bow[3 * 1 + 2] = 0.003;  // slide Y bows towards Z
  disturb(truth, {BoundKind::place, -1, 0.003, BoundSource::stated}, bow, frame);
  CHECK(slide_error_mm(truth, {500.0, 170.0, -40.0}).z() == doctest::Approx(0.003));
  CHECK(slide_error_mm(truth, {500.0, 20.0, -40.0}).norm() == 0.0);
  Eigen::VectorXd wave(4);
  wave << 1e-5, 2e-5, -1e-5, 3e-5;
  disturb(truth, {BoundKind::index_wave, 1, 1e-4, BoundSource::stated}, wave, frame);
  const double t = 0.7;
  CHECK(index_wave_rad(truth, 1, t) ==
        doctest::Approx(1e-5 * std::cos(t) + 2e-5 * std::sin(t) - 1e-5 * std::cos(2 * t) +
                        3e-5 * std::sin(2 * t)));
  CHECK(index_wave_rad(truth, 0, t) == 0.0);
  const Bound lobing{BoundKind::lobing, -1, 0.002, BoundSource::stated};
  disturb(truth, lobing, Eigen::Vector2d(0.001, 0.0), frame);
  disturb(truth, lobing, Eigen::Vector2d(0.0, 0.001), frame);
  CHECK(truth.lobing_amplitude_mm == doctest::Approx(0.001 * std::sqrt(2.0)));
  CHECK(3.0 * truth.lobing_phase_rad == doctest::Approx(0.25 * std::numbers::pi));
  disturb(truth, {BoundKind::drift, -1, 0.005, BoundSource::stated},
          Eigen::Vector3d(0.005, 0.0, 0.0), frame);
  CHECK(truth.drift_mm_per_hour.x() == doctest::Approx(0.01));
}

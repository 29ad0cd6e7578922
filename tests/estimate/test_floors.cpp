// The smallest uncertainties that geometry allows, against what the covariance code says.
//
// Source of every table in this file: computed floors of the project's metrology notes, formula
// sigma_c = sigma_p / sqrt(N (1 - |e_mean|^2)), and for the others plain linear least squares. They
// were computed there apart from this program. Figures are retyped with the digits printed there, so
// agreement means: within 1 % or within half of the last printed digit.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

#include "estimate/adjustment.h"
#include "estimate/touch_tests.h"
#include "pivotrace/estimate/predict.h"
#include "scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

constexpr double sigma_mm = 0.001;
constexpr double orbit_mm = 100.0;
const Eigen::Vector3d centre_mm(-300, -200, -250);

using Angles = std::vector<double>;

Angles full_turn(int count) {
  Angles angles;
  for (int k = 0; k < count; ++k) angles.push_back(2.0 * std::numbers::pi * k / count);
  return angles;
}

/// Ends included, symmetric about 0, so that the bisector of the arc is machine X.
Angles arc(int count, double arc_deg) {
  Angles angles;
  for (int k = 0; k < count; ++k)
    angles.push_back(rad_from_deg(arc_deg * (k / (count - 1.0) - 0.5)));
  return angles;
}

/// C along Z, quoted in the plane of its balls. No station error: only touches are uncertain.
Machine table(const std::vector<Eigen::Vector3d>& balls_from_centre_mm) {
  Machine machine = machine_frame("invented table");
  machine.linear.station_sigma_mm = 0.0;
  machine.probe.touch_sigma_mm = sigma_mm;
  machine.probe.stylus_diameter_u_mm = 0.0;
  machine.rotary = {rotary_axis('C', LinearAxis::Z, TurnSense::right_hand, centre_mm, 0.0)};
  for (std::size_t k = 0; k < balls_from_centre_mm.size(); ++k) {
    machine.artefacts.push_back(
        ball(("ball " + std::to_string(k + 1)).c_str(), 0, centre_mm + balls_from_centre_mm[k]));
    machine.artefacts.back().diameter_u_mm = 0.0;
  }
  return machine;
}

/// One row per ball and angle that states its centre: three readings of `sigma_mm` each.
Survey centre_rows(const Machine& machine, const Angles& angles_rad) {
  return testing::centre_rows(machine, nominal_state(machine), angles_rad);
}

Survey touched(const Machine& machine, const Angles& angles,
               const std::vector<TouchTarget>& touches) {
  std::vector<StationTarget> stations;
  for (const double angle : angles) {
    StationTarget target;
    target.angles_rad[0] = angle;
    target.touches = touches;
    stations.push_back(target);
  }
  SurveyTruth perfect;
  perfect.state = nominal_state(machine);
  return synthesise_survey(machine, perfect, perfect.state, stations, {});
}

AxisResult predicted_axis(const Machine& machine, const Survey& survey) {
  const Expected<FitResult> result = predict_fit(machine, survey);
  if (!result) FAIL(describe(result.error().front()));
  return result->axes.front();
}

/// `digits` = decimals of the printed figure.
bool agrees(double found, double printed, int digits) {
  const double half_a_digit = 0.5 * std::pow(10.0, -digits);
  return std::abs(found - printed) <= std::max(0.01 * printed, half_a_digit * (1.0 + 1e-9));
}

#define CHECK_FLOOR(found, printed, digits) \
  CHECK_MESSAGE(agrees(found, printed, digits), "found ", (found), ", printed ", (printed))

double spread(const Angles& angles) {
  std::complex<double> sum = 0.0;
  for (const double angle : angles) sum += std::polar(1.0, angle);
  return 1.0 - std::norm(sum / static_cast<double>(angles.size()));
}

struct PositionFloor {
  const char* angles_in_words;
  Angles angles;
  double known_angle;
  double along_bisector;  ///< circle fit
  double across;
  int digits_along = 2;
};

std::vector<PositionFloor> position_floors() {
  return {{"3 x 120", full_turn(3), 0.58, 0.82, 0.82},
          {"4 x 90", full_turn(4), 0.50, 0.71, 0.71},
          {"8 x 45", full_turn(8), 0.35, 0.50, 0.50},
          {"5 over 210 deg", arc(5, 210), 0.48, 0.88, 0.57},
          {"5 over 180 deg", arc(5, 180), 0.51, 1.10, 0.58},
          {"5 over 120 deg", arc(5, 120), 0.67, 2.16, 0.71},
          {"5 over 90 deg", arc(5, 90), 0.86, 3.67, 0.88},
          {"5 over 60 deg", arc(5, 60), 1.24, 8.0, 1.26, 1},
          {"5 over 30 deg", arc(5, 30), 2.43, 31, 2.44, 0}};
}

/// An index error of `at_ball_mm` (one sigma) at the ball.
Machine with_index_error(Machine machine, double at_ball_mm) {
  machine.rotary[0].index_sigma_rad = at_ball_mm / orbit_mm;
  return machine;
}

}  // namespace

TEST_CASE("axis position with trusted angles comes down to the computed floor") {
  const Machine machine = table({{orbit_mm, 0, 0}});
  for (const PositionFloor& floor : position_floors()) {
    INFO(floor.angles_in_words);
    const AxisResult axis = predicted_axis(machine, centre_rows(machine, floor.angles));
    const double formula =
        1.0 / std::sqrt(static_cast<double>(floor.angles.size()) * spread(floor.angles));
    for (const NamedEstimate& location : axis.centre) {
      CHECK_FLOOR(location.estimate.u / sigma_mm, floor.known_angle, 2);
      // Against the formula itself; the diameter enters nowhere, so only round-off is left.
      CHECK(location.estimate.u / sigma_mm == doctest::Approx(formula).epsilon(1e-6));
    }
  }
}

TEST_CASE("two opposite angles fix the axis position once two heights fix its lean") {
  // One ball at 0 and 180 deg leaves the lean open, which the tables count apart. Two balls at equal
  // distances from the quoted plane give two independent positions whose mean is the answer.
  const Machine machine = table({{orbit_mm, 0, 50}, {orbit_mm, 0, -50}});
  const AxisResult axis = predicted_axis(machine, centre_rows(machine, full_turn(2)));
  for (const NamedEstimate& location : axis.centre) {
    CHECK_FLOOR(location.estimate.u / sigma_mm * std::sqrt(2.0), 0.71, 2);
  }
}

TEST_CASE("axis position with angles that cannot be trusted comes down to the circle fit") {
  // 10 mm of index error at the ball beside 1 um of a reading: as good as unknown.
  const Machine machine = with_index_error(table({{orbit_mm, 0, 0}}), 10.0);
  for (const PositionFloor& floor : position_floors()) {
    INFO(floor.angles_in_words);
    const AxisResult axis = predicted_axis(machine, centre_rows(machine, floor.angles));
    CHECK_FLOOR(axis.centre[0].estimate.u / sigma_mm, floor.along_bisector, floor.digits_along);
    CHECK_FLOOR(axis.centre[1].estimate.u / sigma_mm, floor.across, 2);
    // The second route: radial errors of a circle with free radius, rows (cos, sin, 1).
    Eigen::MatrixXd rows(floor.angles.size(), 3);
    for (std::size_t k = 0; k < floor.angles.size(); ++k) {
      rows.row(static_cast<Eigen::Index>(k)) << std::cos(floor.angles[k]),
          std::sin(floor.angles[k]), 1.0;
    }
    const Eigen::Matrix3d cofactor = (rows.transpose() * rows).inverse();
    for (int k = 0; k < 2; ++k) {
      CHECK(axis.centre[k].estimate.u / sigma_mm ==
            doctest::Approx(std::sqrt(cofactor(k, k))).epsilon(1e-3));
    }
  }
}

TEST_CASE("index noise leads from one model to the other") {
  // 5 over 90 deg, along the bisector: index noise worth 1 and 5 sigma at the ball.
  const Survey survey = centre_rows(table({{orbit_mm, 0, 0}}), arc(5, 90));
  const auto bisector = [&](double index_noise) {
    const Machine machine = with_index_error(table({{orbit_mm, 0, 0}}), index_noise * sigma_mm);
    return predicted_axis(machine, survey).centre[0].estimate.u / sigma_mm;
  };
  CHECK_FLOOR(bisector(0.0), 0.86, 2);
  CHECK_FLOOR(bisector(1.0), 1.18, 2);
  CHECK_FLOOR(bisector(5.0), 2.84, 2);
}

TEST_CASE("lean from the axial readings of one ball comes down to the computed floor") {
  struct LeanFloor {
    const char* angles_in_words;
    Angles angles;
    double better_arcsec;
    double worse_arcsec;
    int digits_better = 1;
    int digits_worse = 1;
  };
  const std::vector<LeanFloor> floors = {{"3 full circle", full_turn(3), 1.7, 1.7},
                                         {"4 full circle", full_turn(4), 1.5, 1.5},
                                         {"6 full circle", full_turn(6), 1.2, 1.2},
                                         {"8 full circle", full_turn(8), 1.0, 1.0},
                                         {"12 full circle", full_turn(12), 0.84, 0.84, 2, 2},
                                         {"5 over 180 deg", arc(5, 180), 1.2, 2.3},
                                         {"5 over 120 deg", arc(5, 120), 1.5, 4.5},
                                         {"5 over 90 deg", arc(5, 90), 1.8, 7.6},
                                         {"5 over 60 deg", arc(5, 60), 2.6, 16.5},
                                         {"5 over 30 deg", arc(5, 30), 5.0, 65, 1, 0}};
  const Machine machine = table({{orbit_mm, 0, 0}});
  for (const LeanFloor& floor : floors) {
    INFO(floor.angles_in_words);
    const AxisResult axis = predicted_axis(machine, centre_rows(machine, floor.angles));
    REQUIRE(axis.orientation[0].name.direction == LinearAxis::X);
    // The arc is symmetric about X: a lean about Y hides in the height of the ball.
    CHECK_FLOOR(arcsec_from_rad(axis.orientation[0].estimate.u), floor.better_arcsec,
                floor.digits_better);
    CHECK_FLOOR(arcsec_from_rad(axis.orientation[1].estimate.u), floor.worse_arcsec,
                floor.digits_worse);
  }
}

TEST_CASE("lean from two heights does not depend on the arc, except through the two centres") {
  constexpr double apart_mm = 100.0;
  // Near the axis, so that the axial readings say nothing worth mentioning about the lean.
  const Machine machine = table({{1, 0, 0.5 * apart_mm}, {1, 0, -0.5 * apart_mm}});
  for (const Angles& angles : {full_turn(4), full_turn(8), arc(5, 180), arc(5, 120), arc(5, 90)}) {
    const double centre_sigma_mm =
        sigma_mm / std::sqrt(static_cast<double>(angles.size()) * spread(angles));
    const AxisResult axis = predicted_axis(machine, centre_rows(machine, angles));
    for (const NamedEstimate& orientation : axis.orientation) {
      const double per_um = arcsec_from_rad(orientation.estimate.u) / (centre_sigma_mm / 0.001);
      CHECK_FLOOR(per_um, 2.9, 1);
    }
  }
}

namespace {

struct Cap {
  int count;
  double from_pole_deg;
};

std::vector<TouchTarget> pattern(const std::vector<Cap>& rings) {
  std::vector<TouchTarget> targets;
  for (const Cap& ring : rings) {
    for (int k = 0; k < ring.count; ++k) {
      const double phi = 2.0 * std::numbers::pi * k / ring.count;
      const double polar = rad_from_deg(ring.from_pole_deg);
      TouchTarget target;
      target.outward = {std::sin(polar) * std::cos(phi), std::sin(polar) * std::sin(phi),
                        std::cos(polar)};
      targets.push_back(target);
    }
  }
  return targets;
}

/// Standard deviation of the ball's centre from the touches of a single station, in sigmas.
Eigen::Vector3d centre_sigmas(const std::vector<Cap>& rings, bool radius_known) {
  Machine machine = table({{orbit_mm, 0, 0}});
  if (!radius_known) machine.artefacts[0].diameter_u_mm.reset();
  const Survey survey = touched(machine, {0.0}, pattern(rings));
  const Model model(machine, survey);
  RandomModel random;
  random.touch_sigma_mm = sigma_mm;
  const Adjusted adjusted =
      adjusted_at(model, random, model.unknowns_from(nominal_state(machine)), {});
  REQUIRE(adjusted.information.full_rank());
  const int first = model.layout().place_first[0];
  return adjusted.covariance().diagonal().segment<3>(first).cwiseSqrt() / sigma_mm;
}

}  // namespace

TEST_CASE("ball centre from touches comes down to the computed floor, radius free or known") {
  struct CentreFloor {
    const char* touches;
    std::vector<Cap> rings;
    double across;  ///< x and y, the same for free and known radius
    double free_z;
    double known_z;
    int digits_free = 2;
  };
  // The 25-point cap (pole, 4 at 22.5, 8 at 45, 4 at 67.5, 8 at 90 deg) is that of the probing
  // test of ISO 10360-5, from memory.
  const std::vector<CentreFloor> floors = {
      {"4 equator + pole", {{4, 90}, {1, 0}}, 0.71, 1.12, 1.00},
      {"pole + 4 at 45 deg", {{4, 45}, {1, 0}}, 1.00, 3.82, 0.58},
      {"pole + 4 at 30 deg", {{4, 30}, {1, 0}}, 1.41, 8.3, 0.50, 1},
      {"6 equator + pole", {{6, 90}, {1, 0}}, 0.58, 1.08, 1.00},
      {"4 equator + 4 at 45 + pole", {{4, 90}, {4, 45}, {1, 0}}, 0.58, 0.85, 0.58},
      // The notes print 0.54 for the last one; 1 / sqrt(1 + 5/2) = 0.5345 rounds to 0.53.
      {"5 equator + 5 at 45 + pole", {{5, 90}, {5, 45}, {1, 0}}, 0.52, 0.78, 0.53},
      {"25-point cap", {{1, 0}, {4, 22.5}, {8, 45}, {4, 67.5}, {8, 90}}, 0.35, 0.55, 0.33}};
  for (const CentreFloor& floor : floors) {
    INFO(floor.touches);
    const Eigen::Vector3d free = centre_sigmas(floor.rings, false);
    const Eigen::Vector3d known = centre_sigmas(floor.rings, true);
    for (int k = 0; k < 2; ++k) {
      CHECK_FLOOR(free[k], floor.across, 2);
      CHECK_FLOOR(known[k], floor.across, 2);
    }
    CHECK_FLOOR(free[2], floor.free_z, floor.digits_free);
    CHECK_FLOOR(known[2], floor.known_z, 2);
  }
}

namespace {

/// Redundancies, correlations and detectable errors of a survey with touch errors only.
struct Checked {
  std::vector<TouchResult> touches;
  Eigen::MatrixXd correlation;  ///< of the residuals; 0 where a residual has no variance
};

Checked checked(const Machine& machine, const Survey& survey) {
  const Model model(machine, survey);
  RandomModel random;
  random.touch_sigma_mm = sigma_mm;
  const Adjusted adjusted =
      adjusted_at(model, random, model.unknowns_from(nominal_state(machine)), {});
  REQUIRE(adjusted.information.full_rank());
  Checked result;
  result.touches = touch_results(model, adjusted, random);
  Eigen::MatrixXd jacobian(model.total_readings(), model.layout().unknowns);
  const Linearisation at(model, adjusted.unknowns);
  StationBlock block;
  Eigen::Index row = 0;
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    jacobian.middleRows(row, block.gap.size()) = block.by_unknown;
    row += block.gap.size();
  }
  const Eigen::MatrixXd cofactor =
      Eigen::MatrixXd::Identity(row, row) -
      jacobian * adjusted.covariance() * jacobian.transpose() / (sigma_mm * sigma_mm);
  result.correlation = Eigen::MatrixXd::Zero(row, row);
  for (Eigen::Index i = 0; i < row; ++i) {
    for (Eigen::Index k = 0; k < row; ++k) {
      const double product = cofactor(i, i) * cofactor(k, k);
      if (product > 1e-10) result.correlation(i, k) = cofactor(i, k) / std::sqrt(product);
    }
  }
  return result;
}

}  // namespace

TEST_CASE(
    "at one station nothing checks the pole touch, and opposite touches cannot be told apart") {
  const Machine machine = table({{orbit_mm, 0, 0}});
  const Checked one = checked(machine, touched(machine, {0.0}, pattern({{4, 90}, {1, 0}})));
  for (int k = 0; k < 4; ++k) CHECK_FLOOR(one.touches[k].redundancy, 0.50, 2);
  CHECK(std::abs(one.correlation(0, 2)) == doctest::Approx(1.0).epsilon(1e-6));
  CHECK(std::abs(one.correlation(1, 3)) == doctest::Approx(1.0).epsilon(1e-6));
  // Absent, not zero: nobody may read a sigma out of a touch that nothing checks.
  CHECK(one.touches[4].redundancy == doctest::Approx(0.0));
  CHECK_FALSE(one.touches[4].w.has_value());
  CHECK_FALSE(one.touches[4].sigma_mm.has_value());
  CHECK_FALSE(one.touches[4].detectable_mm.has_value());
}

TEST_CASE("redundancies and smallest detectable errors of the joint fit are the computed ones") {
  struct JointFloor {
    int stations;
    double equator;
    double equator_detectable;
    double pole;
    double pole_detectable;
  };
  // Level 0.1 %, power 80 %, in sigmas of a touch.
  constexpr double unseen = std::numeric_limits<double>::infinity();
  const std::vector<JointFloor> floors = {{3, 0.67, 5.1, 0.0, unseen},
                                          {4, 0.75, 4.8, 0.25, 8.3},
                                          {6, 0.83, 4.5, 0.50, 5.8},
                                          {8, 0.88, 4.4, 0.62, 5.2}};
  const Machine machine = table({{orbit_mm, 0, 0}});
  for (const JointFloor& floor : floors) {
    INFO(floor.stations, " stations");
    const Checked all =
        checked(machine, touched(machine, full_turn(floor.stations), pattern({{4, 90}, {1, 0}})));
    double total = 0.0;
    for (std::size_t t = 0; t < all.touches.size(); ++t) {
      const TouchResult& touch = all.touches[t];
      total += touch.redundancy;
      const bool pole = t % 5 == 4;
      CHECK_FLOOR(touch.redundancy, pole ? floor.pole : floor.equator, 2);
      const double expected = pole ? floor.pole_detectable : floor.equator_detectable;
      if (!std::isfinite(expected)) {
        CHECK_FALSE(touch.detectable_mm.has_value());
        continue;
      }
      REQUIRE(touch.detectable_mm.has_value());
      CHECK_FLOOR(*touch.detectable_mm / sigma_mm, expected, 1);
    }
    // Axis line 4 and ball 3; the known radius brings as many readings as unknowns.
    CHECK(total == doctest::Approx(5.0 * floor.stations - 7.0).epsilon(1e-5));
  }
}

TEST_CASE("at 0/90/180/270 deg an axial error is seen but not located, at six angles it is") {
  const Machine machine = table({{orbit_mm, 0, 0}});
  // Of any pole touch with any other touch of the survey.
  const auto worst_pole_correlation = [&](int stations, const std::vector<Cap>& rings) {
    const Checked all = checked(machine, touched(machine, full_turn(stations), pattern(rings)));
    const Eigen::Index per_station = all.correlation.rows() / stations;
    double worst = 0.0;
    for (Eigen::Index pole = per_station - 1; pole < all.correlation.rows(); pole += per_station) {
      Eigen::VectorXd with_others = all.correlation.row(pole).cwiseAbs();
      with_others[pole] = 0.0;
      worst = std::max(worst, with_others.maxCoeff());
    }
    return worst;
  };
  CHECK(worst_pole_correlation(4, {{4, 90}, {1, 0}}) == doctest::Approx(1.0).epsilon(1e-5));
  CHECK_FLOOR(worst_pole_correlation(6, {{4, 90}, {1, 0}}), 0.67, 2);
  // Nine touches a ball: four on the equator, four at 45 deg, the pole.
  CHECK_FLOOR(worst_pole_correlation(4, {{4, 90}, {4, 45}, {1, 0}}), 0.23, 2);
  CHECK_FLOOR(worst_pole_correlation(8, {{4, 90}, {4, 45}, {1, 0}}), 0.11, 2);
}

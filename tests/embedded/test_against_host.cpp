// The double core against the program on the PC where both have the same model: stated sigmas, no
// index position of an axis met by two stations.
#include <doctest/doctest.h>

#include <boost/math/distributions/students_t.hpp>
#include <cmath>

#include "estimate/adjustment.h"
#include "estimate/fitted_survey.h"
#include "estimate/outputs.h"
#include "estimate/scenarios.h"
#include "estimate/start.h"
#include "estimate/uncertainty.h"
#include "host_job.h"

namespace pivotrace::testing {
namespace {

/// Bars of the room: 0.5 nm, 0.001 arcsec, one millionth of u.
constexpr double length_bar_mm = 0.5e-6;
constexpr double angle_bar_rad = 0.001 / 206264.806;
constexpr double u_bar = 1e-6;

struct HostFit {
  std::vector<AxisResult> axes;
  std::vector<AxisPairResult> pairs;
  double chi2 = 0.0;
  int redundancy = 0;
};

HostFit host_fit(const Machine& machine, const Survey& survey) {
  const Model model(machine, survey);
  const RandomModel stated = stated_random_model(model);
  const Expected<LeastSquaresMinimum> minimum =
      minimise_gaps(model, stated, starting_unknowns(model), {});
  REQUIRE(minimum.has_value());
  const std::vector<CommonTerm> terms = common_terms(machine);
  const Adjusted adjusted = settled_at(model, stated, minimum->unknowns, effects_of(terms));
  const ChosenVariances chosen = stated_variances(model, stated, adjusted);
  const Uncertainty uncertainty(model, adjusted, chosen, terms, {});
  return {axis_results(model, adjusted, uncertainty),
          axis_pair_results(model, adjusted, uncertainty), adjusted.chi2, adjusted.redundancy};
}

void check_value(const BoardValue& value, double offset, const Estimate& estimate, double bar) {
  CHECK(std::abs(value.value + offset - estimate.value) <= bar);
  CHECK(std::abs(value.u / estimate.u - 1.0) <= u_bar);
  CHECK(std::abs(value.u_absolute / estimate.u_absolute - 1.0) <= u_bar);
  // The half-width of what all touches have in common, by either route.
  const auto common = [](double U95_absolute, double U95) {
    return std::sqrt(std::max(0.0, U95_absolute * U95_absolute - U95 * U95));
  };
  const double half_width = common(value.U95_absolute, value.U95);
  CHECK(half_width == doctest::Approx(common(estimate.U95_absolute, estimate.U95)).epsilon(0.001));
}

/// With uncertain sigmas: the random part by Student's t (quantile of Boost), the common part by the normal
/// distribution, their squares added (JCGM 100:2008, G.4, for the degrees of freedom of the random part).
void check_expansion(const BoardResult& found) {
  REQUIRE(found.status == 0);
  REQUIRE(found.dof > 0);
  const double t = boost::math::quantile(boost::math::students_t(found.dof), 0.975);
  for (const BoardAxisResult& axis : found.axes) {
    for (const BoardValue& value : axis.location) {
      if (value.u == 0.0) continue;
      const double common = value.u_absolute * value.u_absolute - value.u * value.u;
      CHECK(value.U95 == doctest::Approx(t * value.u).epsilon(5e-4));
      CHECK(value.U95_absolute ==
            doctest::Approx(std::hypot(t * value.u, 1.959964 * std::sqrt(common))).epsilon(5e-4));
    }
  }
}

void check_against_host(Scenario scenario, const Build& build) {
  Machine& machine = scenario.machine;
  // Whole nanometres, also of the sum: 0.3 and 0.4 make 0.5 um.
  machine.probe.stylus_diameter_u_mm = 0.0004;
  machine.probe.offset_u_mm = {0.001, 0.001, 0.003};
  machine.linear.scale_u = {8e-6, 8e-6, 8e-6};
  machine.linear.squareness_u_rad = {1e-5, 1e-5, 1e-5};
  const Survey survey = rounded_for_board(survey_of(scenario));
  const HostFit host = host_fit(machine, survey);
  const BoardResult found = build.fit(board_job(machine, survey, 0));
  REQUIRE(found.status == 0);
  CHECK(found.touch_redundancy + found.station_redundancy == host.redundancy);
  CHECK(found.touch_chi2 + found.station_chi2 == doctest::Approx(host.chi2).epsilon(1e-5));
  for (std::size_t k = 0; k < found.axes.size(); ++k) {
    CAPTURE(k);
    for (const NamedEstimate& location : host.axes[k].centre) {
      const auto c = static_cast<std::size_t>(*location.name.direction);
      check_value(found.axes[k].location[c],
                  machine.rotary[k].centre_mm[static_cast<Eigen::Index>(c)], location.estimate,
                  length_bar_mm);
    }
    for (const NamedEstimate& orientation : host.axes[k].orientation) {
      const auto c = static_cast<std::size_t>(*orientation.name.direction);
      check_value(found.axes[k].orientation[c], 0.0, orientation.estimate, angle_bar_rad);
    }
    if (host.axes[k].pivot_to_stylus) {
      check_value(found.axes[k].arm, 0.0, *host.axes[k].pivot_to_stylus, length_bar_mm);
    }
  }
  check_expansion(build.fit(board_job(machine, survey, 8)));
  if (host.pairs.empty()) return;
  REQUIRE(found.between_status == 0);
  check_value(found.distance, 0.0, host.pairs[0].distance, length_bar_mm);
  check_value(found.crossing, 0.0, host.pairs[0].crossing, angle_bar_rad);
}

Scenario pin_scenario() {
  Scenario s = fourth_axis(8, 4, 9);
  Artefact& pin = s.machine.artefacts[0];
  pin.kind = ArtefactKind::pin;
  pin.at_mm = {-270, -200, -245};
  pin.direction = Eigen::Vector3d::UnitX();
  pin.length_mm = 80;
  pin.diameter_mm = 20;
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  for (StationTarget& target : s.stations) {
    target.touches.clear();
    for (int t = 0; t < 8; ++t) {
      const double bearing = 0.3 + std::numbers::pi * (t % 4 + 0.2) / 4.5;
      TouchTarget touch;
      touch.outward = {0, std::cos(bearing), std::sin(bearing)};
      touch.along_mm = t < 4 ? 5.0 : 60.0;
      target.touches.push_back(touch);
    }
  }
  return s;
}

Scenario head_scenario() {
  Scenario s = fourth_axis(9, 4, 5);
  RotaryAxis& head = s.machine.rotary[0];
  head = rotary_axis('B', LinearAxis::Y, TurnSense::right_hand, {0, 0, 180}, 5);
  head.side = AxisSide::tool;
  s.machine.artefacts[0].carried_by = -1;
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  for (std::size_t k = 0; k < s.stations.size(); ++k) {
    s.stations[k].angles_rad[0] = rad_from_deg(-80.0 + 20.0 * static_cast<double>(k));
  }
  return s;
}

Scenario trunnion_scenario() {
  Scenario s = fourth_axis(12, 4, 6);
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-250, -220, -310}, 4),
                      rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, {-250, -220, -330}, 4)};
  s.machine.artefacts = {ball("ball", 1, {-180, -220, -270})};
  s.truth = leaning_truth(s.machine, 0.0003, 0.1);
  for (std::size_t k = 0; k < s.stations.size(); ++k) {
    const auto step = static_cast<double>(k);
    s.stations[k].angles_rad[0] = rad_from_deg(-30.0 + 11.0 * step);
    s.stations[k].angles_rad[1] = rad_from_deg(std::fmod(150.0 * step, 360.0) + 3.0 * step);
  }
  return s;
}

}  // namespace

TEST_CASE("one axis: the host's fit to 0.5 nm, 0.001 arcsec and a millionth of u") {
  for (const Build* build : {&board_f64_1(), &board_f64_2()}) {
    CAPTURE(build->name);
    check_against_host(fourth_axis(12, 4, 7), *build);
    Scenario rough = fourth_axis(12, 4, 9);
    rough.truth = leaning_truth(rough.machine, 0.045, 6.0);
    check_against_host(rough, *build);
    Scenario free = fourth_axis(10, 5, 9);
    free.machine.artefacts[0].diameter_u_mm.reset();
    check_against_host(free, *build);
  }
}

TEST_CASE("a tilted axis, a pin and a head: the host's fit") {
  Scenario tilted = fourth_axis(12, 4, 8);
  tilted.machine.rotary[0].direction = Eigen::Vector3d(2, 1, 2) / 3.0;
  tilted.machine.rotary[0].along.reset();
  tilted.machine.artefacts[0].at_mm = {-270, -140, -250};
  tilted.truth = leaning_truth(tilted.machine, 0.0004, 0.15);
  check_against_host(tilted, board_f64_1());
  check_against_host(pin_scenario(), board_f64_1());
  check_against_host(head_scenario(), board_f64_1());
}

TEST_CASE("two axes: the host's fit") { check_against_host(trunnion_scenario(), board_f64_2()); }

}  // namespace pivotrace::testing

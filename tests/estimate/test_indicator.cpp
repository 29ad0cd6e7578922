// Readings of an indicator: a touch whose zero nobody knows.
#include <doctest/doctest.h>

#include <boost/math/distributions/binomial.hpp>

#include "machines.h"
#include "pivotrace/estimate/fit.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// A bar in the chuck of A, along X, read round in two sections at four angles.
Scenario bar(std::uint64_t seed) {
  Scenario s;
  s.machine = machine_frame("invented mill without a probe");
  s.machine.rotary = {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5)};
  s.machine.artefacts = {
      artefact("bar", ArtefactKind::pin, 0, {-290, -200, -250}, Eigen::Vector3d::UnitX())};
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  s.truth.state.artefacts[0].point_mm = {-290, -199.9, -250.06};
  for (int k = 0; k < 4; ++k) {
    StationTarget target;
    target.angles_rad[0] = 0.5 * std::numbers::pi * k;
    target.touches = all_round(s.machine, 0, target.angles_rad);
    s.stations.push_back(target);
  }
  s.noise = stated_noise(s.machine, seed);
  return s;
}

FitResult fitted(const Machine& machine, const Survey& survey) {
  const Expected<FitResult> result = fit_survey(machine, survey);
  INFO((result ? std::string() : describe(result.error().front())));
  REQUIRE(result.has_value());
  return *result;
}

double truth_of(const Scenario& s, const ValueName& name) {
  const Line& line = s.truth.state.axis_lines[0];
  return pierce_plane(line, Eigen::Vector3d::UnitX(), -300.0)[component(name)];
}

}  // namespace

TEST_CASE("the zero of an indicator drops out, however far out its tip stands") {
  for (const double zero_mm : {0.0, 0.4, -35.0}) {
    Scenario s = bar(1);
    s.noise = {};
    const FitResult result = fitted(s.machine, read_by_indicator(survey_of(s), zero_mm));
    for (const NamedEstimate& centre : result.axes[0].centre) {
      CHECK(std::abs(centre.estimate.value - truth_of(s, centre.name)) < 1e-6);
    }
    REQUIRE(result.effects.size() == 1);
    CHECK(text_of(result.effects[0].name) == "indicator zero.1");
    CHECK(result.effects[0].estimate.value == doctest::Approx(zero_mm).epsilon(1e-6));
    CHECK(result.usable);
  }
}

TEST_CASE("U95 of a centre found by indicator holds the truth") {
  constexpr int surveys = 200;
  int held = 0;
  int seen = 0;
  for (std::uint64_t seed = 1; seed <= surveys; ++seed) {
    const Scenario s = bar(seed);
    const FitResult result = fitted(s.machine, read_by_indicator(survey_of(s), 0.4));
    for (const NamedEstimate& centre : result.axes[0].centre) {
      ++seen;
      const double off = centre.estimate.value - truth_of(s, centre.name);
      held += std::abs(off) <= centre.estimate.U95 ? 1 : 0;
    }
  }
  INFO("seeds 1 to ", surveys, ": held in ", held, " of ", seen);
  const boost::math::binomial_distribution<> chance(seen, 0.95);
  // The two coordinates of one survey are nearly independent: the readings go all round.
  CHECK(held >= quantile(chance, 0.001));
}

TEST_CASE("read from one side only, an indicator tells no centre") {
  const Scenario s = bar(1);
  Survey survey = read_by_indicator(survey_of(s), 0.4);
  const auto is_on_top = [](const Touch& touch) { return touch.approach->z() < -0.2; };
  Survey from_above;
  from_above.settings = survey.settings;
  for (const Station& station : survey.stations) {
    Station stay = station;
    stay.first_touch = static_cast<int>(from_above.touches.size());
    stay.touch_count = 0;
    for (int t = 0; t < station.touch_count; ++t) {
      Touch touch = survey.touches[station.first_touch + t];
      if (!is_on_top(touch)) continue;
      touch.station = static_cast<int>(from_above.stations.size());
      from_above.touches.push_back(touch);
      ++stay.touch_count;
    }
    if (stay.touch_count > 0) from_above.stations.push_back(stay);
  }
  REQUIRE(from_above.touches.size() >= 4);
  CHECK_FALSE(fit_survey(s.machine, from_above).has_value());
}

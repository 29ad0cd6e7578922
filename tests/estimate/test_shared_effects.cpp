// Which stations share an index position, and that sharing is counted.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>

#include "estimate/fitted_survey.h"
#include "estimate/machines.h"
#include "estimate/uncertainty.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/estimate/predict.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

Scenario trunnion_at(const std::vector<RotaryAngles>& angles) {
  Scenario s =
      with_artefacts("trunnion",
                     {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-250, -220, -310}, 4),
                      rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, {-250, -220, -330}, 4)},
                     {ball("ball", 1, {-180, -220, -270})}, angles);
  for (RotaryAxis& axis : s.machine.rotary) axis.axis_motion_sigma_mm = 0.001;
  return s;
}

Survey quiet(const Scenario& s) {
  return synthesise_survey(s.machine, s.truth, s.truth.state, s.stations, {});
}

SharedEffects shared_of(const Scenario& s, const Survey& survey) {
  return Model(s.machine, survey).shared();
}

int count_of(const SharedEffects& shared, int group) {
  return static_cast<int>(std::count_if(shared.all.begin(), shared.all.end(),
                                        [&](const SharedEffect& e) { return e.group == group; }));
}

}  // namespace

TEST_CASE("stations at one angle share it, whichever turn it is counted in") {
  // C stands at 0 (twice, once as 360), 120, 240; A at 0 (three times) and at 90 (once).
  const Scenario s =
      trunnion_at({degrees(0, 0), degrees(0, 120), degrees(0, 240), degrees(90, 360)});
  const SharedEffects shared = shared_of(s, quiet(s));
  CHECK(count_of(shared, index_group(1)) == 1);
  CHECK(count_of(shared, motion_group(1)) == 3);
  CHECK(count_of(shared, index_group(0)) == 1);
  CHECK(count_of(shared, motion_group(0)) == 3);
  // What one station sees alone stays with it: A at 90 with the last, C at 120 with the second.
  CHECK(shared.own[3][3] == std::vector<int>{index_group(0)});
  CHECK(shared.own[1][4] == std::vector<int>{index_group(1)});
  CHECK(shared.own[0][3].empty());
  CHECK(shared.own[1][0] == std::vector<int>{station_group, motion_group(1)});
}

TEST_CASE("one position is 1 deg wide, and sides are told apart where the record says so") {
  const Scenario wide = trunnion_at({degrees(0, 0), degrees(0, 0.9), degrees(0, 359.8)});
  CHECK(count_of(shared_of(wide, quiet(wide)), index_group(1)) == 1);
  const Scenario s = trunnion_at({degrees(0, 0), degrees(0, 90), degrees(0, 180), degrees(0, 90)});
  Survey survey = quiet(s);
  CHECK(count_of(shared_of(s, survey), index_group(1)) == 1);
  survey.turns_told_apart = true;
  const SharedEffects apart = shared_of(s, survey);
  CHECK(apart.own[1][4] == std::vector<int>{index_group(1)});  // 90 from below
  CHECK(apart.own[3][4] == std::vector<int>{index_group(1)});  // 90 from above
}

TEST_CASE("stations close together all the way round do not share one error") {
  std::vector<RotaryAngles> angles;
  for (int k = 0; k < 800; ++k) angles.push_back(degrees(0, 0.45 * k));
  const Scenario s = trunnion_at(angles);
  // 0, 0.45 and 0.9 deg stand at one position, 1.35 deg opens the next; 359.1 and 359.55 belong to 0.
  CHECK(count_of(shared_of(s, quiet(s)), index_group(1)) == 266);
}

TEST_CASE("an axis that rests keeps what it arrived with") {
  Scenario s = trunnion_at({degrees(0, 0), degrees(0, 90), degrees(45, 90), degrees(45, 0)});
  s.machine.rotary[1].index_repeat_sigma_rad = 1e-5;
  const SharedEffects shared = shared_of(s, quiet(s));
  CHECK(count_of(shared, repeat_group(1)) == 1);  // at 90, over two stations
  CHECK(shared.own[0][4] == std::vector<int>{repeat_group(1)});
  CHECK(shared.own[3][4] == std::vector<int>{repeat_group(1)});
}

TEST_CASE("touching the same angles again does not average out what repeats") {
  // From the random model (src/estimate/shared_effects.h): what repeats has one value for each index position. With index
  // errors alone the second round adds nothing, with station errors alone it halves the variance.
  const auto u_of = [](double index_arcsec, double station_mm, int rounds) {
    Scenario s = fourth_axis(8, 5, 1);
    s.machine.rotary[0].index_sigma_rad = rad_from_arcsec(index_arcsec);
    s.machine.linear.station_sigma_mm = station_mm;
    s.machine.probe.touch_sigma_mm = 1e-6;
    s.machine.artefacts[0].diameter_u_mm = 0.0;
    s.machine.probe.stylus_diameter_u_mm = 0.0;
    const std::vector<StationTarget> once = s.stations;
    for (int k = 1; k < rounds; ++k) s.stations.insert(s.stations.end(), once.begin(), once.end());
    const auto fit = predict_fit(s.machine, quiet(s));
    REQUIRE(fit);
    return fit->axes[0].centre[0].estimate.u;
  };
  CHECK(u_of(20.0, 1e-6, 2) == doctest::Approx(u_of(20.0, 1e-6, 1)).epsilon(0.01));
  CHECK(u_of(1e-4, 0.002, 2) ==
        doctest::Approx(u_of(1e-4, 0.002, 1) / std::sqrt(2.0)).epsilon(0.01));
}

TEST_CASE("the parts of the variance by group add up to the covariance") {
  const Scenario s = trunnion_at({degrees(0, 0), degrees(0, 120), degrees(0, 240), degrees(45, 0),
                                  degrees(90, 0), degrees(-30, 0), degrees(0, 0)});
  const Survey survey = quiet(s);
  const Model model(s.machine, survey);
  const RandomModel random = stated_random_model(model);
  const Eigen::VectorXd at = model.unknowns_from(s.truth.state);
  const Adjusted adjusted = adjusted_at(model, random, at, {});
  const VarianceSums sums = variance_sums(model, random, adjusted);
  Eigen::MatrixXd total = Eigen::MatrixXd::Zero(at.size(), at.size());
  for (const Eigen::MatrixXd& part : sums.of_unknowns) total += part;
  // What is left of it is what the known diameters contribute: positive semidefinite.
  const Eigen::MatrixXd rest = adjusted.covariance() - total;
  const Eigen::VectorXd sigma = adjusted.covariance().diagonal().cwiseSqrt();
  const Eigen::MatrixXd scaled =
      sigma.cwiseInverse().asDiagonal() * rest * sigma.cwiseInverse().asDiagonal();
  CHECK(Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(scaled).eigenvalues().minCoeff() > -1e-9);
  // Redundancies: readings less what the unknowns and the diameter take.
  const double left = sums.redundancy.sum();
  CHECK(left <= model.total_readings() - model.layout().unknowns + 1.0 + 1e-6);
  CHECK(left >= model.total_readings() - model.layout().unknowns - 1e-6);
  // The information is a Gram matrix, and no group holds more than half its redundancy.
  CHECK(Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(sums.information).eigenvalues()[0] > -1e-9);
  for (Eigen::Index g = 0; g < sums.redundancy.size(); ++g) {
    CHECK(sums.information(g, g) <= 0.5 * sums.redundancy[g] + 1e-9);
  }
}

TEST_CASE("stated and found are pooled by their degrees of freedom") {
  // Five times the stated touch noise, in many touches: s^2 = (n0 s0^2 + r s^2) / (n0 + r).
  Scenario s = fourth_axis(12, 8, 4);
  s.noise.touch_sigma_mm *= 5.0;
  const Survey survey = survey_of(s);
  FitOptions plain;
  plain.screen = false;
  const auto found = screened_survey(s.machine, survey, plain);
  REQUIRE(found);
  const PooledGroup& touch = found->fitted.solved.chosen.pooled.front();
  REQUIRE(touch.group == touch_group);
  const double pooled = (touch.stated_dof * std::pow(touch.stated_sigma, 2) +
                         touch.redundancy * std::pow(touch.found_sigma, 2)) /
                        (touch.stated_dof + touch.redundancy);
  CHECK(touch.sigma == doctest::Approx(std::sqrt(pooled)).epsilon(1e-6));
  CHECK(touch.found_sigma == doctest::Approx(0.005).epsilon(0.3));
  // Sigmas that are exactly known stay.
  Scenario exact = s;
  exact.machine.sigma_dof = 1e12;
  const auto kept = screened_survey(exact.machine, survey, plain);
  REQUIRE(kept);
  CHECK(kept->fitted.solved.chosen.random.touch_sigma_mm == doctest::Approx(0.001).epsilon(1e-6));
}

TEST_CASE("a stylus offset moves both ends of a pivot length") {
  Scenario s;
  for (NamedScenario& named : every_machine()) {
    if (named.name == "swivel head") s = named.scenario;
  }
  s.machine.probe.offset_u_mm = {0.01, 0.01, 0.01};
  s.truth.state.stylus_offset_mm = {0.02, -0.01, 0.015};
  const auto fit = fit_survey(s.machine, quiet(s));
  REQUIRE(fit);
  const Estimate& pivot = *fit->axes[0].pivot_to_stylus;
  const double is =
      perpendicular_from_line(s.truth.state.axis_lines[0], s.truth.state.stylus_offset_mm).norm();
  CHECK(std::abs(pivot.value - is) < 1e-4);
  CHECK(pivot.u_absolute < 0.002);
  CHECK(fit->axes[0].centre[1].estimate.u_absolute > 0.0095);
}

TEST_CASE("a diameter alone is no better known than the stylus lets it be") {
  // Sum known far better than either: R and r then share the doubt, 1 / (1/uR^2 + 1/ur^2).
  Scenario s = fourth_axis(12, 12, 3);
  s.noise = {};
  s.machine.probe.touch_sigma_mm = 1e-5;
  s.machine.linear.station_sigma_mm = 1e-5;
  s.machine.rotary[0].index_sigma_rad = 1e-9;
  s.machine.probe.stylus_diameter_u_mm = 0.002;
  s.machine.artefacts[0].diameter_u_mm = 0.001;
  const auto fit = fit_survey(s.machine, survey_of(s));
  REQUIRE(fit);
  const double expected = 1.0 / std::hypot(1.0 / 0.002, 1.0 / 0.001);
  CHECK(fit->artefacts[0].diameter->u_absolute == doctest::Approx(expected).epsilon(0.01));
}

TEST_CASE("bounds make U95 grow by the largest shift they allow, u stays") {
  Scenario s = fourth_axis(8, 5, 2);
  const Survey survey = survey_of(s);
  const auto without = fit_survey(s.machine, survey);
  s.machine.bounds.squareness_rad = 20e-6;
  const auto with = fit_survey(s.machine, survey);
  REQUIRE(without);
  REQUIRE(with);
  for (std::size_t k = 0; k < 2; ++k) {
    const Estimate& narrow = without->axes[0].orientation[k].estimate;
    const Estimate& wide = with->axes[0].orientation[k].estimate;
    CHECK(std::abs(wide.value - narrow.value) < 1e-12);
    CHECK(wide.u == doctest::Approx(narrow.u).epsilon(1e-9));
    // 20 um/m of squareness is 4.1 arcsec of lean that one ball cannot tell.
    CHECK(wide.B_absolute == doctest::Approx(20e-6).epsilon(0.1));
    CHECK(wide.U95_absolute > narrow.U95_absolute);
    CHECK(wide.U95_absolute < narrow.U95_absolute + wide.B_absolute);
    CHECK(wide.U95 == doctest::Approx(narrow.U95).epsilon(1e-9));
  }
}

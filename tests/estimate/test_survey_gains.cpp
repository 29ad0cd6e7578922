// The gains a result stores: against whole fits of disturbed surveys, and against the covariance.
#include <doctest/doctest.h>

#include <cmath>

#include "estimate/machines.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/machine/kinematics.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// A carries C; C stands twice at 0 and once elsewhere, A at two angles.
Scenario trunnion() {
  Scenario s =
      with_artefacts("trunnion",
                     {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-250, -220, -310}, 4),
                      rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, {-250, -220, -330}, 6)},
                     {ball("ball", 1, {-180, -220, -270})},
                     {degrees(0, 0), degrees(0, 120), degrees(0, 240), degrees(70, 0),
                      degrees(70, 120), degrees(-60, 0), degrees(-60, 240)});
  for (RotaryAxis& axis : s.machine.rotary) axis.axis_motion_sigma_mm = 0.0015;
  s.machine.probe.offset_u_mm = {0.002, 0.003, 0.004};
  s.machine.linear.squareness_u_rad = {1e-5, 2e-5, 3e-5};
  s.machine.artefacts[0].diameter_u_mm = 0.0006;
  s.machine.bounds = {};
  return s;
}

Survey quiet(const Scenario& s) {
  return synthesise_survey(s.machine, s.truth, s.truth.state, s.stations, {});
}

Eigen::VectorXd values_of(const FitResult& result) {
  std::vector<double> values;
  for (const AxisResult& axis : result.axes) {
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *list) values.push_back(named.estimate.value);
    }
  }
  return Eigen::Map<Eigen::VectorXd>(values.data(), static_cast<Eigen::Index>(values.size()));
}

FitResult fitted(const Machine& machine, const Survey& survey) {
  FitOptions options;
  options.screen = false;
  const auto result = fit_survey(machine, survey, options);
  REQUIRE(result.has_value());
  return *result;
}

/// Pooled sigmas would follow the disturbance: they are pinned to what is stated.
Machine with_sure_sigmas(Machine machine) {
  machine.sigma_dof = 1e9;
  return machine;
}

const SharedTerm& term_of(const FitResult& result, SharedTerm::Kind kind, char axis = '\0',
                          double angle_deg = 0.0, int component = 0) {
  for (const SharedTerm& term : result.gains.terms) {
    const bool there = axis == '\0' || (term.axis == axis && term.component == component &&
                                        std::abs(deg_from_rad(term.angle_rad) - angle_deg) < 0.5);
    if (term.kind == kind && there) return term;
  }
  FAIL("no such term");
  return result.gains.terms.front();
}

void check_same(const Eigen::VectorXd& gains, const Eigen::VectorXd& moved, double amount) {
  REQUIRE(gains.size() == moved.size());
  const double scale = gains.cwiseAbs().maxCoeff();
  for (Eigen::Index k = 0; k < gains.size(); ++k) {
    CHECK(moved[k] / amount == doctest::Approx(gains[k]).epsilon(2e-3).scale(scale));
  }
}

}  // namespace

TEST_CASE("a wrong stated radius moves the values of a whole fit by its gain") {
  Scenario s = trunnion();
  s.machine = with_sure_sigmas(s.machine);
  const Survey survey = quiet(s);
  const FitResult before = fitted(s.machine, survey);
  SUBCASE("of the artefact") {
    Machine wrong = s.machine;
    *wrong.artefacts[0].diameter_mm += 2.0 * 0.001;
    check_same(term_of(before, SharedTerm::Kind::artefact_diameter).gains,
               values_of(fitted(wrong, survey)) - values_of(before), 0.001);
  }
  SUBCASE("of the stylus") {
    Machine wrong = s.machine;
    wrong.probe.stylus_diameter_mm += 2.0 * 0.001;
    check_same(term_of(before, SharedTerm::Kind::stylus_diameter).gains,
               values_of(fitted(wrong, survey)) - values_of(before), 0.001);
  }
}

TEST_CASE("an axis that rests wrongly at one index position moves the values by its gain") {
  Scenario s = trunnion();
  s.machine = with_sure_sigmas(s.machine);
  const FitResult before = fitted(s.machine, quiet(s));
  const double off_rad = 2e-6;
  for (const double angle : {0.0, 120.0}) {
    CAPTURE(angle);
    // The touches are made where the axis really is; the record shows what was commanded.
    Scenario moved = s;
    for (StationTarget& target : moved.stations) {
      if (std::abs(deg_from_rad(target.angles_rad[1]) - angle) < 0.5) {
        target.angles_rad[1] += off_rad;
      }
    }
    Survey survey = quiet(moved);
    for (Station& station : survey.stations) {
      if (std::abs(deg_from_rad(station.angles_rad[1]) - angle) < 0.5) {
        station.angles_rad[1] = rad_from_deg(angle);
      }
    }
    // The gain is of an error of the gaps by the angle the fit takes, which is the commanded one: the
    // true angle enters with the other sign.
    check_same(term_of(before, SharedTerm::Kind::index_error, 'C', angle).gains,
               values_of(fitted(s.machine, survey)) - values_of(before), -off_rad);
  }
}

TEST_CASE("gains and sizes make up the covariance they are part of") {
  const Scenario s = trunnion();
  const FitResult result = fitted(s.machine, quiet(s));
  const auto n = static_cast<Eigen::Index>(result.covariance.names.size());
  Eigen::MatrixXd beyond = Eigen::MatrixXd::Zero(n, n);
  std::vector<double> index(static_cast<std::size_t>(n), 0.0);
  std::vector<double> motion(static_cast<std::size_t>(n), 0.0);
  for (const SharedTerm& term : result.gains.terms) {
    const Eigen::MatrixXd part = term.u * term.u * term.gains * term.gains.transpose();
    for (Eigen::Index k = 0; k < n; ++k) {
      if (term.kind == SharedTerm::Kind::index_error) index[k] += part(k, k);
      if (term.kind == SharedTerm::Kind::axis_motion) motion[k] += part(k, k);
    }
    const bool of_position =
        term.kind == SharedTerm::Kind::index_error || term.kind == SharedTerm::Kind::axis_motion;
    if (!of_position) beyond += part;
  }
  const Eigen::MatrixXd wanted = result.covariance.absolute - result.covariance.repeatable;
  CHECK((beyond - wanted).cwiseAbs().maxCoeff() < 1e-6 * wanted.cwiseAbs().maxCoeff());
  for (Eigen::Index k = 0; k < n; ++k) {
    const ValueName& name = result.covariance.names[static_cast<std::size_t>(k)];
    CAPTURE(text_of(name));
    double index_share = 0.0;
    double motion_share = 0.0;
    for (const BudgetLine& line : result.budget) {
      if (line.output != name) continue;
      if (line.source.kind == SourceKind::index) index_share += line.share;
      if (line.source.kind == SourceKind::motion) motion_share += line.share;
    }
    const double whole = result.covariance.absolute(k, k);
    CHECK(index[static_cast<std::size_t>(k)] == doctest::Approx(index_share * whole).epsilon(1e-6));
    CHECK(motion[static_cast<std::size_t>(k)] ==
          doctest::Approx(motion_share * whole).epsilon(1e-6));
  }
}

TEST_CASE("gains times bounds are the largest shifts a result states") {
  const Scenario s = trunnion();
  const FitResult result = fitted(s.machine, quiet(s));
  for (const BoundResult& bound : result.bounds) {
    if (bound.kind != BoundKind::scale) continue;
    for (const auto& [name, shift] : bound.shifts) {
      const auto place = std::ranges::find(result.covariance.names, name);
      const auto k = place - result.covariance.names.begin();
      double sum = 0.0;
      for (const SharedTerm& term : result.gains.terms) {
        if (term.effect.kind != EffectKind::scale || term.kind != SharedTerm::Kind::effect)
          continue;
        sum += term.half_width * std::abs(term.gains[k]);
      }
      CHECK(sum == doctest::Approx(shift).epsilon(1e-9));
    }
  }
}

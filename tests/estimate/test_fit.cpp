#include <doctest/doctest.h>
#include <fmt/format.h>

#include "pivotrace/estimate/fit.h"
#include "scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::string all(const Problems& problems) {
  std::string text;
  for (const Problem& problem : problems) text += describe(problem) + "\n";
  return text;
}

FitResult fitted(const Scenario& s) {
  const Expected<FitResult> result = fit_survey(s.machine, survey_of(s));
  INFO((result ? std::string() : all(result.error())));
  REQUIRE(result.has_value());
  return *result;
}

}  // namespace

TEST_CASE("perfect touches give the true line back") {
  Scenario s = fourth_axis(8, 5, 1);
  s.noise.touch_sigma_mm = s.noise.station_sigma_mm = 0.0;
  s.noise.index_sigma_rad = {};
  const FitResult result = fitted(s);
  const AxisResult& axis = result.axes.front();
  const Line truth{pierce_plane(s.truth.state.axis_lines[0], Eigen::Vector3d::UnitX(), -300.0),
                   s.truth.state.axis_lines[0].direction};
  CHECK((axis.line.point_mm - truth.point_mm).norm() < 1e-8);
  CHECK((axis.line.direction - truth.direction).norm() < 1e-10);
  CHECK(result.usable);
  CHECK(axis.turn_confirmed);
}

TEST_CASE("noisy touches hold the truth within a few U95") {
  for (std::uint64_t seed = 1; seed <= 5; ++seed) {
    const Scenario s = fourth_axis(12, 5, seed);
    const FitResult result = fitted(s);
    const AxisResult& axis = result.axes.front();
    for (const NamedEstimate& location : axis.centre) {
      const int k = component(location.name);
      const Eigen::Vector3d truth =
          pierce_plane(s.truth.state.axis_lines[0], Eigen::Vector3d::UnitX(), -300.0);
      MESSAGE(seed, " ", iso_symbol(location.name), " off ", location.estimate.value - truth[k],
              " U95 ", location.estimate.U95, " dof ", location.estimate.dof, " abs ",
              location.estimate.U95_absolute);
      CHECK(std::abs(location.estimate.value - truth[k]) < 2.0 * location.estimate.U95);
    }
    MESSAGE(text_of(result.fit.sigma_source), " ", result.fit.touch_sigma_mm, " ",
            result.fit.station_sigma_mm, " chi2 ", result.fit.chi2, " dof ", result.fit.dof, " s ",
            result.fit.solver_seconds, " it ", result.fit.iterations);
  }
}

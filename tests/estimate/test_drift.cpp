// A drift that nobody sees: what it can do to a lean, with and without times in the record.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "machines.h"
#include "pivotrace/estimate/fit.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

constexpr double drift_mm = 0.005;  ///< over the run

/// Two sections of a pin, at every station in the same order.
Scenario pin_in_chuck() {
  const Eigen::Vector3d centre(-300, -200, -250);
  Scenario s = with_artefacts(
      "invented chuck", {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, centre, 5.0)},
      {artefact("pin", ArtefactKind::pin, 0, centre + Eigen::Vector3d(20, 0, 0),
                Eigen::Vector3d::UnitX())},
      full_circle(8));
  s.machine.bounds.drift_per_run_mm = drift_mm;
  s.noise = {};
  return s;
}

Survey drifted(Scenario s, const Eigen::Vector3d& by_mm) {
  const Survey still = survey_of(s);
  const double run_s = *still.touches.back().time_s - *still.touches.front().time_s;
  s.truth.drift_mm_per_hour = by_mm * (3600.0 / run_s);
  return survey_of(s);
}

Survey without_times(Survey survey) {
  for (Touch& touch : survey.touches) touch.time_s.reset();
  return survey;
}

FitResult fitted(const Scenario& s, const Survey& survey) {
  const Expected<FitResult> result = fit_survey(s.machine, survey);
  REQUIRE(result.has_value());
  return *result;
}

}  // namespace

TEST_CASE("a drift along the pin's sections is counted in the lean, times written or not") {
  const Scenario s = pin_in_chuck();
  const FitResult timed = fitted(s, drifted(s, Eigen::Vector3d::Zero()));
  const FitResult still = fitted(s, without_times(drifted(s, Eigen::Vector3d::Zero())));
  for (std::size_t k = 0; k < 2; ++k) {
    const Estimate& lean = still.axes[0].orientation[k].estimate;
    CHECK(lean.B_absolute ==
          doctest::Approx(timed.axes[0].orientation[k].estimate.B_absolute).epsilon(1e-6));
    double largest = 0.0;
    for (const int along : {1, 2}) {
      const FitResult moved =
          fitted(s, without_times(drifted(s, drift_mm * Eigen::Vector3d::Unit(along))));
      const Estimate& now = moved.axes[0].orientation[k].estimate;
      const double shift = std::abs(now.value - lean.value);
      CHECK(shift <= 1.001 * now.B_absolute);
      largest = std::max(largest, shift);
    }
    // The worst drift lies along one of them, as the lean about Y and Z does.
    CHECK(largest >= 0.9 * lean.B_absolute);
    CHECK(lean.B_absolute > 1e-6);
  }
}

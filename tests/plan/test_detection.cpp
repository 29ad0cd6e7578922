// Plans that are to detect a shift, by the test that compares two results.
#include <doctest/doctest.h>

#include <algorithm>
#include <limits>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/find_plan.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/report/plan_text.h"
#include "pivotrace/results/compare.h"
#include "plan/efficiency_machines.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// The demo in a shop that knows what lies between two surveys.
Machine steady() {
  Machine machine = example("fourth-axis");
  machine.bounds.between_surveys_mm = 0.0005;
  return machine;
}

Expected<PlanOutcome> detecting(const Machine& machine, double shift_mm,
                                std::optional<FitResult> earlier = {}) {
  FindRequest request;
  request.minutes = 12.0;
  request.detect = Detection{shift_mm, std::move(earlier)};
  return find_plan(machine, request);
}

}  // namespace

TEST_CASE(
    "a plan to detect a shift ends where its own repeat would show it, and a smaller shift takes "
    "longer") {
  const Machine machine = steady();
  double last = 0.0;
  for (const double shift_mm : {0.012, 0.007}) {
    CAPTURE(shift_mm);
    const auto outcome = detecting(machine, shift_mm);
    REQUIRE(outcome.has_value());
    CHECK(check_plan(machine, outcome->plan).empty());
    CHECK(outcome->seen.size() == 4);
    CHECK(worst_of_seen(outcome->seen) <= 1.0);
    CHECK_FALSE(outcome->certificate.has_value());
    CHECK(outcome->plan.minutes > last);
    last = outcome->plan.minutes;
    CHECK(plan_text(machine, *outcome).find("Found in 8 of 10 cases at 1 % false alarms") !=
          std::string::npos);
  }
}

TEST_CASE("the shifts a plan promises to show are those that compare says of two fits of it") {
  const Machine machine = steady();
  const auto outcome = detecting(machine, 0.012);
  REQUIRE(outcome.has_value());
  FitResult once = fit_survey(machine, nominal_survey(machine, outcome->plan)).value();
  once.conditions.probe = "one and the same";
  once.conditions.probe_calibrated = "2026-01-02";
  once.usable = true;
  const auto comparison = compare(once, once, {});
  REQUIRE(comparison.has_value());
  REQUIRE(comparison->values.size() == outcome->seen.size());
  for (const SeenShift& shift : outcome->seen) {
    CAPTURE(text_of(shift.name));
    const auto value = std::ranges::find(comparison->values, shift.name, &ValueChange::name);
    REQUIRE(value != comparison->values.end());
    // A fit of readings without scatter pools their sigmas with 0: it believes itself to be better.
    CHECK(value->smallest_seen <= shift.seen * (1.0 + 1e-9));
    CHECK(value->smallest_seen >= 0.3 * shift.seen);
  }
}

TEST_CASE(
    "a survey still to be made shows less than one made, but for sigmas that are known exactly") {
  for (const double dof : {8.0, std::numeric_limits<double>::infinity()}) {
    CAPTURE(dof);
    Machine machine = steady();
    machine.sigma_dof = dof;
    const Plan plan = make_plan(machine, {}).value().plan;
    FitResult prediction = predict_plan(machine, plan).value();
    prediction.usable = true;
    prediction.conditions.probe = "one and the same";
    prediction.conditions.probe_calibrated = "2026-01-02";
    const auto made = compare(prediction, prediction);
    REQUIRE(made.has_value());
    const auto to_come = shifts_seen(prediction, Detection{0.01, {}});
    const auto against_made = shifts_seen(prediction, Detection{0.01, prediction});
    REQUIRE(to_come.has_value());
    REQUIRE(against_made.has_value());
    for (std::size_t k = 0; k < made->values.size(); ++k) {
      CAPTURE(text_of(made->values[k].name));
      for (const double seen : {to_come->at(k).seen, against_made->at(k).seen}) {
        const double ratio = seen / made->values[k].smallest_seen;
        // Sigmas known to 25 % move what shows by less than that.
        CHECK(ratio > (std::isfinite(dof) ? 1.002 : 0.97));
        CHECK(ratio < (std::isfinite(dof) ? 1.25 : 1.03));
      }
    }
  }
}

TEST_CASE("against a poor earlier result no plan detects a small shift, and it is said") {
  const Machine machine = steady();
  Machine noisy = machine;
  noisy.linear.station_sigma_mm *= 10.0;
  const auto coarse = detecting(noisy, 0.2);
  REQUIRE(coarse.has_value());
  FitResult earlier = coarse->prediction;
  earlier.usable = true;
  const auto outcome = detecting(machine, 0.005, earlier);
  REQUIRE(outcome.has_value());
  CHECK(worst_of_seen(outcome->seen) > 1.0);
  CHECK(plan_text(machine, *outcome).find("Not as small as asked") != std::string::npos);
}

TEST_CASE("nothing is detected against a result that is not usable or of another machine") {
  const Machine machine = steady();
  const auto made = detecting(machine, 0.2);
  REQUIRE(made.has_value());
  FitResult earlier = made->prediction;
  earlier.usable = false;
  const auto against_unusable = detecting(machine, 0.005, earlier);
  REQUIRE_FALSE(against_unusable.has_value());
  CHECK(against_unusable.error().front().number == ProblemNumber::not_usable);
  earlier.usable = true;
  earlier.machine_name = "another, invented";
  const auto against_other = detecting(machine, 0.005, earlier);
  REQUIRE_FALSE(against_other.has_value());
  CHECK(against_other.error().front().number == ProblemNumber::other_machine);
}

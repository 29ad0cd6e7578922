// Three fixed machines at 8 minutes, each against its bar; all of them stand in the benchmark
// `plan_efficiency`.
#include <doctest/doctest.h>

#include <ctime>
#include <iterator>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"
#include "plan/efficiency_machines.h"

using namespace pivotrace;
using namespace pivotrace::testing;

TEST_CASE(
    "plans of 8 minutes come as near to what is possible as they must, in the time they may take") {
  for (const char* name : {"fourth-axis", "trunnion", "swivel-head"}) {
    CAPTURE(name);
    const Machine machine = without_bias(example(name));
    const PlanBars bars = bars_of(machine);
    const std::clock_t begin = std::clock();
    const auto outcome = find_plan(machine, request_for_minutes(8.0));
    const double seconds = static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
    REQUIRE(outcome.has_value());
    REQUIRE(outcome->certificate.has_value());
    MESSAGE(fmt::format(
        "{}: efficiency {:.3f}, bar {}; {:.1f} s of processor time, bar {} on an idle machine",
        name, outcome->certificate->efficiency(), bars.at_8_minutes, seconds, bars.seconds));
    CHECK(outcome->certificate->efficiency() >= bars.at_8_minutes);
    CHECK(outcome->plan.minutes >= 0.9 * 8.0);
    CHECK(outcome->plan.minutes <= 8.0 + 1e-9);
    CHECK(check_plan(machine, outcome->plan).empty());
  }
}

TEST_CASE("a short arc is visited again and again, and ways that are not clear are gone round") {
  for (const PlannedMachine& planned : random_machines()) {
    // A head of few angles, and an axis with something in the way of half its turns.
    const bool short_arc = planned.name == "ball under head, seed 1411";
    if (!short_arc && planned.name != "ball on axis, seed 1404") continue;
    CAPTURE(planned.name);
    const Machine machine = short_arc ? without_bias(planned.machine) : planned.machine;
    const auto outcome = find_plan(machine, request_for_minutes(5.0));
    REQUIRE(outcome.has_value());
    CHECK(check_plan(machine, outcome->plan).empty());
    REQUIRE(outcome->certificate.has_value());
    CHECK(outcome->certificate->efficiency() >= bars_of(machine).at_5_minutes);
    for (std::size_t k = 1; k < outcome->plan.stations.size(); ++k) {
      CHECK(outcome->plan.stations[k].angles_rad != outcome->plan.stations[k - 1].angles_rad);
    }
  }
}

namespace {

/// What the regular patterns reached that this program planned before it searched: minutes, and the largest U95 over
/// what is wanted of it (2 um, 5 arcsec), bounds 0, as measured then.
struct Pattern {
  const char* name;
  double minutes;
  double worst;
};
constexpr Pattern patterns[] = {{"fourth-axis", 9.2, 1.21},
                                {"trunnion", 17.5, 5.14},
                                {"swivel-head", 11.8, 1.57},
                                {"head with table", 17.5, 1.96}};

}  // namespace

TEST_CASE("the U95 of a regular pattern is reached in half its minutes, on two axes in 35 %") {
  for (const PlannedMachine& planned : known_machines()) {
    const auto pattern = std::ranges::find_if(
        patterns, [&](const Pattern& known) { return known.name == planned.name; });
    if (pattern == std::end(patterns)) continue;
    const Machine machine = without_bias(planned.machine);
    const double share = machine.rotary.size() > 1 ? 0.35 : 0.5;
    FindRequest request;
    request.length_mm = 0.002 * pattern->worst;
    request.angle_rad = rad_from_arcsec(5.0) * pattern->worst;
    request.minutes = share * pattern->minutes;
    request.stop_when_reached = true;
    const auto outcome = find_plan(machine, request);
    REQUIRE(outcome.has_value());
    MESSAGE(fmt::format("{}: {:.2f} minutes, the pattern {}", planned.name, outcome->plan.minutes,
                        pattern->minutes));
    CHECK(outcome->plan.minutes <= share * pattern->minutes);
    for (const WantedValue& value : outcome->wanted) CHECK(value.reached <= value.scale());
  }
}

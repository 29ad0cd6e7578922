// The same plan on every machine: compilers and processors round differently, and a search meets many ties
// between stations that are mirror images of each other. A machine file whose lengths are off by about as much
// as rounding has to give the same stations.
#include <doctest/doctest.h>

#include <algorithm>

#include "pivotrace/survey/random_stream.h"
#include "plan/efficiency_machines.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// Every length of places off by some 1e-12 mm.
Machine nudged(Machine machine, std::uint64_t seed) {
  RandomStream random(seed);
  const auto nudge = [&](Eigen::Vector3d& point_mm) {
    for (double& coordinate : point_mm) coordinate *= 1.0 + 1e-14 * (2.0 * random.uniform() - 1.0);
  };
  for (RotaryAxis& axis : machine.rotary) nudge(axis.centre_mm);
  for (Artefact& artefact : machine.artefacts) nudge(artefact.at_mm);
  for (Obstacle& obstacle : machine.obstacles) {
    nudge(obstacle.from_mm);
    nudge(obstacle.to_mm);
  }
  return machine;
}

bool same_touch(const PlannedTouch& a, const PlannedTouch& b) {
  const auto like = [](double x, double y) { return std::abs(x - y) < 1e-9; };
  return a.artefact == b.artefact && like(a.around_rad, b.around_rad) && like(a.up_rad, b.up_rad) &&
         like(a.along_mm, b.along_mm) && like(a.out_mm, b.out_mm);
}

bool same_stations(const Plan& a, const Plan& b) {
  return std::ranges::equal(a.stations, b.stations,
                            [](const PlannedStation& s, const PlannedStation& t) {
                              return s.angles_rad == t.angles_rad && s.flip == t.flip &&
                                     std::ranges::equal(s.touches, t.touches, same_touch);
                            });
}

void check_same(const PlannedMachine& planned, const FindRequest& request) {
  CAPTURE(planned.name);
  const auto once = find_plan(planned.machine, request);
  const auto again = find_plan(nudged(planned.machine, 1), request);
  REQUIRE(once.has_value());
  REQUIRE(again.has_value());
  CHECK(same_stations(once->plan, again->plan));
}

}  // namespace

TEST_CASE("rounding does not decide which stations a plan has") {
  for (const PlannedMachine& planned : known_machines()) {
    check_same(planned, request_for(Purpose::periodic_check, planned.machine));
  }
}

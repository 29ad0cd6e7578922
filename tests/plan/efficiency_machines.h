// The machines on which plans are held against their proofs, and the bars they have to reach. All
// are invented.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "example_machine.h"
#include "head_with_table.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/plan/find_plan.h"
#include "rehearsal/random_machine.h"

namespace pivotrace::testing {

struct PlannedMachine {
  std::string name;
  Machine machine;
};

/// Nothing but what the touches, slides and index positions scatter by.
inline Machine without_bias(Machine machine) {
  machine.bounds = no_disturbance();
  machine.probe.offset_u_mm.setZero();
  machine.linear.scale_u = {0, 0, 0};
  machine.linear.squareness_u_rad = {0, 0, 0};
  for (RotaryAxis& axis : machine.rotary) axis.axis_motion_sigma_mm = 0.0;
  return machine;
}

/// Least efficiency with bounds and axis motion stated 0, and the most seconds of processor time.
struct PlanBars {
  double at_5_minutes = 0.87;
  double at_8_minutes = 0.92;
  double seconds = 5.0;
};

inline PlanBars bars_of(const Machine& machine) {
  return machine.rotary.size() > 1 ? PlanBars{0.78, 0.86, 20.0} : PlanBars{};
}

/// Four machines of the examples, and one more machine file where PIVOTRACE_PLAN_MACHINE names it.
inline std::vector<PlannedMachine> known_machines() {
  std::vector<PlannedMachine> machines;
  for (const char* name : {"fourth-axis", "trunnion", "swivel-head"}) {
    machines.push_back({name, example(name)});
  }
  machines.push_back({"head with table", head_with_table()});
  if (const char* file = std::getenv("PIVOTRACE_PLAN_MACHINE")) {
    if (auto machine = read_machine(file)) {
      machines.push_back({std::filesystem::path(file).filename().string(), std::move(*machine)});
    }
  }
  return machines;
}

/// Every demo, and a head with a table, whose own programs are rehearsed.
inline std::vector<PlannedMachine> promising_machines() {
  std::vector<PlannedMachine> machines;
  for (const char* name : {"fourth-axis", "swivel-head", "pin-in-chuck", "trunnion"}) {
    machines.push_back({name, example(name)});
  }
  machines.push_back({"head with table", head_with_table()});
  return machines;
}

/// Twelve machines made up at random, by fixed seeds: balls beside one axis, under a head, on a tilting table.
inline std::vector<PlannedMachine> random_machines() {
  constexpr test::Setup setups[] = {test::Setup::ball_on_axis, test::Setup::ball_under_head,
                                    test::Setup::tilting_table};
  std::vector<PlannedMachine> machines;
  for (std::uint64_t seed = 1401; seed < 1413; ++seed) {
    const test::Setup setup = setups[seed % 3];
    test::RandomMachine random(seed);
    machines.push_back(
        {fmt::format("{}, seed {}", test::word_of(setup), seed), random.machine(setup)});
  }
  return machines;
}

/// As good as these minutes allow.
inline FindRequest request_for_minutes(double minutes) {
  FindRequest request;
  request.minutes = minutes;
  request.stop_when_reached = false;
  return request;
}

}  // namespace pivotrace::testing

// Hand-built plans on the example machines, for tests of the cycle alone.
#pragma once

#include <doctest/doctest.h>

#include <string>

#include "example_machine.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/plan.h"

namespace pivotrace::demo {

inline std::string source_file(const std::string& name) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/" + name;
}

inline ControlSheet sheet(const std::string& name) {
  const std::string folder = name == "third" ? "tests/cycle/" : "routines/";
  auto read = read_control_sheet(source_file(folder + name + ".toml"));
  if (!read) {
    for (const Problem& problem : read.error()) MESSAGE(describe(problem));
  }
  REQUIRE(read.has_value());
  return *read;
}

/// Five equator touches and the pole on the first artefact at every angle (deg) of one axis.
inline Plan ball_plan(const Machine& machine, char letter, const std::vector<double>& angles_deg) {
  Plan plan;
  plan.machine_name = machine.name;
  plan.self_find = true;
  plan.distances.safe_height = machine.linear.travel_mm[2].high - 5.0;
  const int axis = machine.rotary_index(letter);
  for (const double angle : angles_deg) {
    PlannedStation station;
    station.label = std::to_string(plan.stations.size() + 1);
    station.angles_rad[axis] = rad_from_deg(angle);
    for (int i = 0; i < 5; ++i) station.touches.push_back({0, rad_from_deg(72.0 * i + 18.0), 0.0});
    station.touches.push_back({0, 0.0, rad_from_deg(90.0)});
    plan.stations.push_back(station);
  }
  return plan;
}

}  // namespace pivotrace::demo

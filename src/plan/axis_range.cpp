#include "plan/axis_range.h"

#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/tool_axis.h"

namespace pivotrace {

namespace {

/// Ends of travel are used to 1 / this of a degree.
constexpr double written_per_deg = 1000.0;

}  // namespace

bool measurable(const Machine& machine, int axis) {
  if (machine.rotary[axis].side == AxisSide::tool) return !machine.artefacts.empty();
  return std::any_of(machine.artefacts.begin(), machine.artefacts.end(),
                     [&](const Artefact& artefact) { return artefact.carried_by >= axis; });
}

Range usable_deg(const Machine& machine, const MachineState& state,
                 const ProbingDistances& distances, int axis) {
  const Range& travel = machine.rotary[axis].travel_rad;
  Range usable{deg_from_rad(travel.low) + distances.turn_run_up_deg, deg_from_rad(travel.high)};
  const auto points_up = [&](double angle_deg) {
    RotaryAngles angles{};
    angles[axis] = rad_from_deg(angle_deg);
    return tool_axis_in_machine(machine, state, angles).z() < -1e-9;
  };
  while (usable.low < 0.0 && points_up(usable.low)) usable.low = std::floor(usable.low) + 1.0;
  while (usable.high > 0.0 && points_up(usable.high)) usable.high = std::ceil(usable.high) - 1.0;
  // Inwards to what any program can write: an angle rounded outwards would be beyond the travel.
  usable.low = std::ceil(usable.low * written_per_deg - 1e-6) / written_per_deg;
  usable.high = std::floor(usable.high * written_per_deg + 1e-6) / written_per_deg;
  return usable;
}

}  // namespace pivotrace

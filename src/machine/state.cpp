#include "pivotrace/machine/state.h"

namespace pivotrace {

namespace {

/// Start value for a diameter nobody stated: a common size of reference ball (common
/// practice, no source). Only a start.
constexpr double rough_radius_mm = 12.5;

ArtefactPlace nominal_place(const Machine& machine, const Artefact& artefact) {
  ArtefactPlace place;
  place.point_mm = artefact.at_mm;
  place.direction = artefact.direction.normalized();
  const Artefact& sized =
      artefact.diameter_as >= 0 ? machine.artefacts[artefact.diameter_as] : artefact;
  if (artefact.kind == ArtefactKind::flat) {
    place.radius_mm = 0.0;
  } else {
    place.radius_mm = sized.diameter_mm ? 0.5 * *sized.diameter_mm : rough_radius_mm;
  }
  return place;
}

}  // namespace

MachineState nominal_state(const Machine& machine) {
  MachineState state;
  for (const RotaryAxis& axis : machine.rotary) {
    state.axis_lines.push_back({axis.centre_mm, axis.direction.normalized()});
    state.turns.push_back(axis.positive_turn);
  }
  for (const Artefact& artefact : machine.artefacts) {
    state.artefacts.push_back(nominal_place(machine, artefact));
  }
  state.stylus_radius_mm = machine.probe.stylus_radius_mm();
  return state;
}

}  // namespace pivotrace

// From a plan to the neutral steps of its probing cycle.
#pragma once

#include <optional>

#include "pivotrace/control/steps.h"
#include "pivotrace/plan/plan.h"

namespace pivotrace {

struct CycleOptions {
  /// Written as loops over tables (for controls that can) or touch by touch.
  bool loops = true;
  /// The control can watch positioning moves. Where it cannot, every visit begins with a feeler:
  /// a touch straight down from the safe height, which proves that the artefact is where it should
  /// be before the stylus goes down beside it.
  bool watched = true;
  /// Index into Machine::rotary of the axis whose centre the control works out itself.
  std::optional<int> solve_axis;
  /// The program stops when that centre lies further than this from the machine file's [mm].
  double centre_limit_mm = 1.0;
  /// Work offset set to that centre after an operator stop; never without solve_axis.
  std::optional<int> set_offset;
  /// Number the program is stored under, where the control sheet has a line for it.
  int program_number = 7100;
};

/// The cycle of a plan. Machine coordinates throughout. In order:
///  1. plain state, parameters the operator may edit;
///  2. an operator stop to test the probe by hand; self-finding: one touch straight down from the
///     jogged position, no further than `clearance + search`, so that a dead probe is not pressed
///     in deeper than a touch may press it; it moves every artefact of the file to where the first
///     one really is;
///  3. per station: up to the safe height, turn the axes that do not stand there yet (always from
///     the same side), predict every artefact from the places and axis centres known so far, go
///     above it, touch;
///  4. each touch: guarded moves to the stand-off, find fast, back off, measure slow, back to the
///     stand-off, compare with the prediction and the slow touch with the fast one, record. From
///     touch to touch: over the artefact in the travel plane, or, where its place is known, the
///     control watches and the plan found the way free, round it by one corner;
///  5. how far a target is from its prediction corrects its place and every axis centre, by gains
///     worked out beforehand (foresight.h), until the stations that remain are predicted well
///     enough; from then on each target is kept where it was found last.
/// Where a place may still be too far off it is found first with one or two fast passes, so a rough
/// file is enough.
/// With `solve_axis` the centre of that axis is worked out at the end of its part from running sums
/// (one complex regression with known angles).
///
/// Errors: P402 when an option or a plan cannot be made into steps (reason given); P401 when the
/// plan has no station.
Expected<ControlProgram> make_cycle(const Machine& machine, const Plan& plan,
                                    const CycleOptions& options);

}  // namespace pivotrace

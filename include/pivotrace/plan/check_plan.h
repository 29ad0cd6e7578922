// Can the machine run this plan without a crash? The same questions for a plan just made and for
// one a person has edited.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// Least distance of stylus, shank and holder from anything known on a watched move, except between
/// the stylus ball and the surface it is about to touch [mm]. Common practice, no source.
inline constexpr double watched_clearance_mm = 1.0;

/// The same for rapid moves and while rotary axes turn: nothing known lies within this guard volume
/// of any point of such a move [mm].
inline constexpr double rapid_clearance_mm = 5.0;

/// The shank must clear the artefact itself by this when the ball touches it [mm].
inline constexpr double shank_clearance_mm = 0.5;

/// Why one touch cannot be made at these angles, or nothing. Looks at travel limits and at every
/// move of the touch from the travel plane to the end of its search.
std::optional<std::string> objection_to_touch(const Machine& machine, const MachineState& state,
                                              const ProbingDistances& distances,
                                              const RotaryAngles& angles_rad, bool flip,
                                              const PlannedTouch& touch);

/// Why a station cannot be run as it stands, or nothing: angles, every touch, the ways between them.
std::optional<std::string> objection_to_station(const Machine& machine, const MachineState& state,
                                                const ProbingDistances& distances,
                                                const PlannedStation& station);

/// Everything wrong with a plan: P4xx, each naming station and touch. Empty when it can be run.
Problems check_plan(const Machine& machine, const Plan& plan);

/// Lowest shown Z at which every rotary axis may turn through all given angles and the tool may move
/// sideways anywhere with `rapid_clearance_mm` to spare, not above the travel limit.
double safe_height_mm(const Machine& machine, const MachineState& state,
                      const ProbingDistances& distances, const std::vector<RotaryAngles>& angles);

/// Expected duration [minutes]: path lengths at their feeds, turns at the axis speed, and a fixed
/// time per move for acceleration and settling.
double minutes_of(const Machine& machine, const Plan& plan);

}  // namespace pivotrace

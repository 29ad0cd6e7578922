// Can the machine run this plan without a crash? The same questions for a plan just made and for
// one a person has edited.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/plan/foresight.h"
#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// Least distance of stylus, shank and holder from anything known on a watched move, except between
/// the stylus ball and the surface it is about to touch [mm]. Common practice, no source.
inline constexpr double watched_clearance_mm = 1.0;

/// The same for rapid moves and while rotary axes turn: nothing known lies within this guard volume
/// of any point of such a move [mm]. Common practice, no source.
inline constexpr double rapid_clearance_mm = 5.0;

/// The shank must clear the artefact itself by this when the ball touches it [mm]. Common practice, no source.
inline constexpr double shank_clearance_mm = 0.5;

/// Why one touch cannot be made at these angles, or nothing. Looks at travel limits and at every
/// move of the touch from the travel plane to the end of its search.
std::optional<std::string> objection_to_touch(const Machine& machine, const MachineState& state,
                                              const ProbingDistances& distances,
                                              const RotaryAngles& angles_rad, bool flip,
                                              const PlannedTouch& touch);

/// Why the stylus cannot come straight down in Z from the safe height onto the top of what `place`
/// touches (its own direction is not used), or nothing. The top is the +Z side of a ball, of a
/// lying pin, of a level flat; bores have none.
std::optional<std::string> objection_to_feeler(const Machine& machine, const MachineState& state,
                                               const ProbingDistances& distances,
                                               const RotaryAngles& angles_rad, bool flip,
                                               const PlannedTouch& place);

/// Why a program cannot find the first artefact of a plan itself, straight down from where the
/// operator has jogged the stylus over it, or nothing.
std::optional<std::string> objection_to_self_find(const Machine& machine, const MachineState& state,
                                                  const Plan& plan);

/// Why a station cannot be run as it stands, or nothing: angles, every touch, the ways between them.
std::optional<std::string> objection_to_station(const Machine& machine, const MachineState& state,
                                                const ProbingDistances& distances,
                                                const PlannedStation& station);

/// How the stylus gets to a touch from the one before it, in a pass that measures.
enum class WayBetween {
  over,     ///< up along the tool axis, across in the travel plane, down
  round,    ///< beside the artefact, by one corner that keeps off it (corner_between)
  straight  ///< inside a bore
};

/// One way per touch of a station. The first touch of every target is come to from above, which says
/// `over`. Round is taken where stylus, shank and holder keep `watched_clearance_mm` from everything
/// on it and straight up from its corner, over else.
std::vector<WayBetween> ways_between(const Machine& machine, const MachineState& state,
                                     const ProbingDistances& distances,
                                     const PlannedStation& station);

/// Where two straight moves round an artefact meet, from one touch direction to the next, both at
/// the stand-off: in units of the stand-off from the centre, (a + b) / (1 + a b), the corner of the
/// two tangents, so that no point of either move is nearer to the centre than the stand-off itself.
/// Degenerate for opposite directions.
Eigen::Vector3d corner_between(const Eigen::Vector3d& from_out, const Eigen::Vector3d& to_out);

/// How a turn the wrong way would show at a station, before anything but the stylus ball meets
/// anything.
struct WrongTurn {
  /// The way to the first touch itself shows it: the stylus ball meets something on a watched move,
  /// or finds nothing where a touch was to be.
  bool felt = true;
  /// Not felt on the way, but here: shown position, straight below the safe height, where nothing is
  /// after a right turn and where the artefact is met after a wrong one.
  std::optional<Eigen::Vector3d> empty_shown_mm;
};

/// Every axis that turns between `before` and the station is taken to turn as far the other way.
/// `watched`: the control watches positioning moves; otherwise only moves that must trigger count.
WrongTurn wrong_turn_at(const Machine& machine, const MachineState& state,
                        const ProbingDistances& distances, const RotaryAngles& before_rad,
                        const PlannedStation& station, bool watched);

/// Why the way from one station to the next is not clear: the turns at the safe height, or the way there after them.
std::optional<std::string> objection_to_way(const Machine& machine, const MachineState& state,
                                            const ProbingDistances& distances,
                                            const PlannedStation& before,
                                            const PlannedStation& station);

/// Everything wrong with a plan: P4xx, each naming station and touch. Empty when it can be run.
Problems check_plan(const Machine& machine, const Plan& plan);

/// Lowest shown Z at which every rotary axis may turn through all given angles and the tool may move
/// sideways anywhere with `rapid_clearance_mm` to spare, not above the travel limit.
double safe_height_mm(const Machine& machine, const MachineState& state,
                      const ProbingDistances& distances, const std::vector<RotaryAngles>& angles);

/// Expected duration [minutes]: the moves of its program one by one, from rest to rest, with a fixed
/// time for the control at each. `watched`: the control watches positioning moves; where it does not,
/// a feeler goes before every visit and no touch is come to beside the artefact.
double minutes_of(const Machine& machine, const Plan& plan, bool watched = true);

/// The moves of a visit, from its entry straight above the first touch to its exit above the last, as shown.
struct VisitMoves {
  Eigen::Vector3d entry_mm;
  Eigen::Vector3d exit_mm;
  double seconds = 0.0;
};
/// Of one with so many finding passes, watched. `ways`: of the station.
VisitMoves visit_moves(const Machine& machine, const Plan& plan, std::size_t station,
                       const ForeseenVisit& visit, const std::vector<WayBetween>& ways);

/// What wrong_turn_at() says of a station after the first, sights_at() and visit_moves() of any, for who asks of the
/// same turns and stations again and again.
struct KnownStations {
  std::function<const WrongTurn&(std::size_t station)> wrong_turn;
  std::function<const std::vector<TargetSight>&(std::size_t station)> sights;
  std::function<const VisitMoves&(std::size_t station, const ForeseenVisit& visit)> moves;
};
/// The same, watched.
double minutes_of(const Machine& machine, const Plan& plan, const KnownStations& known);

/// The part of it that turning from one set of angles to another takes [s].
double turn_seconds(const Machine& machine, const ProbingDistances& distances,
                    const RotaryAngles& from_rad, const RotaryAngles& to_rad);

/// The part of it that the first station of a plan takes where every place is known after so many finding passes,
/// without the turn to it.
double station_minutes(const Machine& machine, const Plan& plan, int finding_passes);

}  // namespace pivotrace

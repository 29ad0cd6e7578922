// How long a move takes.
#pragma once

#include <optional>

#include "pivotrace/base/feed_rate.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// From rest to rest over `distance` at `speed` with `acceleration` both ways:
/// d/v + v/a when the speed is reached (d > v^2/a), else 2 sqrt(d/a). Any consistent units.
double rest_to_rest_s(double distance, double speed, double acceleration);

/// Time a rotary axis takes to reach its speed [s]: common practice, no source.
inline constexpr double turn_run_up_s = 0.2;
/// Time of a clamp, spindle or coolant function [s]: common practice, no source.
inline constexpr double function_s = 0.5;

/// Slides and rotary axes start together; the slower one decides.
/// Rapid (no `feed`): every slide at its own rapid. Feed per minute: of the slides' path, in mm/min
/// and not above rapid; deg/min of the turn where no slide moves (NISTIR 6556, section 2.1.2.5, from
/// memory). Inverse time: the minutes asked for. No axis goes faster than the machine file says.
double move_s(const Machine& machine, const Eigen::Vector3d& way_mm, const RotaryAngles& turn_rad,
              const std::optional<FeedRate>& feed);

}  // namespace pivotrace

// Which random effects a survey holds and which stations share them.
//
// An index position is one angle of one axis, modulo a turn, neighbours within 1 deg being one. Its index
// error and its motion are the same at every station that stands there. What only one station sees
// stays with that station and is taken out there; what several see becomes a shared effect.
#pragma once

#include <array>
#include <vector>

#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// Random effects whose size is one number: a variance component.
inline constexpr int touch_group = 0;
inline constexpr int station_group = 1;
inline constexpr int index_group(int axis) { return 2 + axis; }
inline constexpr int repeat_group(int axis) { return 2 + max_rotary_axes + axis; }
inline constexpr int motion_group(int axis) { return 2 + 2 * max_rotary_axes + axis; }
inline constexpr int group_count = 2 + 3 * max_rotary_axes;
inline int axis_of_group(int group) { return group < 2 ? -1 : (group - 2) % max_rotary_axes; }
inline bool is_index_group(int group) { return group >= 2 && group < 2 + max_rotary_axes; }
inline bool is_repeat_group(int group) {
  return group >= 2 + max_rotary_axes && group < 2 + 2 * max_rotary_axes;
}

/// One effect that several stations share: an angle [rad] or one component of a motion [mm].
struct SharedEffect {
  int group = 0;
  int axis = 0;
  int component = -1;  ///< -1: an angle; 0..2: the motion along X, Y, Z of what carries the axis
};

/// Random effects of one station alone: for each of the columns shown X, Y, Z and one angle per axis
/// the groups whose variances add up there; empty = none.
using OwnGroups = std::array<std::vector<int>, 3 + max_rotary_axes>;

/// Every stay of one axis at one angle, whether one station makes it or several.
struct IndexPosition {
  int axis = 0;
  double angle_rad = 0.0;  ///< from 0 to a turn
  double side = 0.0;       ///< from which it was reached; 0 = not told apart
  std::vector<int> stations;
};

struct SharedEffects {
  /// Those of the axis with most of them first, position by position, then the rest.
  std::vector<SharedEffect> all;
  /// First index and number of effects of each position of that axis.
  std::vector<std::pair<int, int>> clusters;
  int clustered = 0;  ///< effects in clusters; those from here on are the border
  std::vector<std::vector<int>> of_station;  ///< indices into `all`
  std::vector<int> cluster_of_station;       ///< -1: none
  std::vector<OwnGroups> own;
  std::vector<IndexPosition> positions;  ///< of every axis that was turned

  int count() const { return static_cast<int>(all.size()); }
  int border() const { return count() - clustered; }
};

/// `turned`: per axis, whether it was turned at all; an axis that always stood still adds nothing
/// that could be told from a turned frame. Sides are told apart where `by_order`.
SharedEffects shared_effects(const Machine& machine, const Survey& survey,
                             const std::vector<bool>& turned,
                             const std::vector<RotaryAngles>& reached_from);

/// Whether a touch feels this axis: it carries the tool, or it carries the artefact.
bool feels(const Machine& machine, const Touch& touch, int axis);

}  // namespace pivotrace

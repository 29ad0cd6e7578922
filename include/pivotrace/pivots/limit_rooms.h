// Limits as far as values can be followed from survey to survey.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/limits.h"
#include "pivotrace/results/result.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace {

struct LimitRooms {
  std::vector<ValueRoom>
      rooms;  ///< centres and orientations; a limit on a slope is one on the orientation
  /// As written: limits on what is judged of one result only (ranges, distances, pivot lengths), and the part.
  std::vector<std::string> not_followed;
};

/// Errors: those of Limits::validate; P114 limits of another machine, unless allowed; P508 a text that names no value; P112 a unit that does not
/// suit the value.
Expected<LimitRooms> limit_rooms(const Limits& limits, const std::string& machine_name,
                                 bool allow_other_machine = false);

}  // namespace pivotrace

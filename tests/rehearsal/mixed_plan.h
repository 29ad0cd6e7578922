// Plans over the angles of all rotary axes at once, in any order: what a search for the shortest
// survey gives, made up at random.
#pragma once

#include <cstdint>
#include <optional>

#include "pivotrace/plan/plan.h"

namespace pivotrace::test {

struct MixedWish {
  std::uint64_t seed = 1;
  int stations = 12;
  int touches = 4;  ///< per station; 3 is the least that finds a ball
  double rough_mm = 1.0;
  /// From the second station to the first, at the most [rad].
  double second_nearer_than_rad = 0.5;
};

/// Touches on the first artefact, a ball, at random angles that the machine can reach; nothing where
/// too few can be. A station that is like the one before has the same touches.
std::optional<Plan> mixed_plan(const Machine& machine, const MixedWish& wish);

}  // namespace pivotrace::test

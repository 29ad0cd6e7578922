#include "pivots/limit_scale.h"

#include <fmt/format.h>

#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

std::optional<LimitScale> limit_scale(QuantityKind quantity, LimitUnit unit, bool inch) {
  const bool automatic = unit == LimitUnit::automatic;
  switch (quantity) {
    case QuantityKind::length:
      if (unit == LimitUnit::inch || (automatic && inch)) {
        return LimitScale{LimitUnit::inch, 1.0 / mm_per_inch};
      }
      if (automatic || unit == LimitUnit::mm) return LimitScale{LimitUnit::mm, 1.0};
      return std::nullopt;
    case QuantityKind::angle:
      if (automatic || unit == LimitUnit::deg) {
        return LimitScale{LimitUnit::deg, deg_from_rad(1.0)};
      }
      if (unit == LimitUnit::arcsec) return LimitScale{unit, arcsec_from_rad(1.0)};
      // Leans are small: tan x = x to 1e-7 mm over 300 mm below 0.05 deg.
      if (unit == LimitUnit::mm_per_300) return LimitScale{unit, 300.0};
      return std::nullopt;
    case QuantityKind::slope:
      if (automatic || unit == LimitUnit::mm_per_300) return LimitScale{LimitUnit::mm_per_300, 1.0};
      return std::nullopt;
  }
  return std::nullopt;
}

Problem unit_does_not_suit(const Limit& limit) {
  return {ProblemNumber::wrong_units,
          fmt::format("the unit of the limit on \"{}\" does not suit it", limit.value.written),
          limit.where,
          "lengths: mm or inch; angles: deg, arcsec or mm_per_300; slopes: mm_per_300"};
}

Problem of_another_machine(const std::string& machine, const std::string& whose,
                           const std::string& result_machine, const Limits& limits) {
  return {ProblemNumber::other_machine,
          fmt::format("the result is for the machine \"{}\", but {} for \"{}\"", result_machine,
                      whose, machine),
          {limits.file, 0, 0},
          "take what belongs together; --allow-other-machine judges it all the same"};
}

}  // namespace pivotrace

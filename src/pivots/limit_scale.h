// Units of limits.
#pragma once

#include <optional>

#include "pivotrace/pivots/limits.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

struct LimitScale {
  LimitUnit unit = LimitUnit::mm;  ///< never automatic
  double per_physical = 1.0;       ///< shown units per mm, rad or mm/300mm
};

/// Absent: the unit does not suit the quantity. `inch`: lengths without a unit are in inches.
std::optional<LimitScale> limit_scale(QuantityKind quantity, LimitUnit unit, bool inch);

/// P112, with what would suit.
Problem unit_does_not_suit(const Limit& limit);

/// Of limits or a result of another machine; `whose` "the limits are".
Problem of_another_machine(const std::string& machine, const std::string& whose,
                           const std::string& result_machine, const Limits& limits);

}  // namespace pivotrace

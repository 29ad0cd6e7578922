// How far a value may go before it does harm.
#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "pivotrace/results/value_name.h"

namespace pivotrace {

/// What lies between two numbers, either end open: mm or rad.
struct Room {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();

  /// The same room for what is counted from `origin` instead of 0.
  Room from(double origin) const { return {low - origin, high - origin}; }
  /// What lies in both; low above high where nothing does.
  Room and_in(const Room& other) const;
  /// Distance of `x` from the nearer end, negative outside.
  double left_at(double x) const;
};

/// Of the value itself, or of how much it changes.
struct ValueRoom {
  ValueName name;
  bool of_change = false;
  Room room;
};

/// Length a lean is quoted over where a length says how far it may go: common practice, no source.
inline constexpr double lean_length_mm = 300.0;

/// +-`within_mm`; of a lean, so much over 300 mm.
Room room_within(const ValueName& name, double within_mm);

/// How far the value may go from `from`, by every room given for it; by `within_mm` where there is none;
/// absent where nothing limits it.
std::optional<Room> room_from(const ValueName& name, double from,
                              const std::vector<ValueRoom>& rooms,
                              const std::optional<double>& within_mm);

}  // namespace pivotrace

#include "pivotrace/results/value_room.h"

#include <algorithm>

namespace pivotrace {

Room Room::and_in(const Room& other) const {
  return {std::max(low, other.low), std::min(high, other.high)};
}

double Room::left_at(double x) const { return std::min(x - low, high - x); }

Room room_within(const ValueName& name, double within_mm) {
  const double most = is_angle(name) ? within_mm / lean_length_mm : within_mm;
  return {-most, most};
}

std::optional<Room> room_from(const ValueName& name, double from,
                              const std::vector<ValueRoom>& rooms,
                              const std::optional<double>& within_mm) {
  std::optional<Room> left;
  for (const ValueRoom& room : rooms) {
    if (room.name != name) continue;
    const Room change = room.of_change ? room.room : room.room.from(from);
    left = left ? left->and_in(change) : change;
  }
  if (!left && within_mm) left = room_within(name, *within_mm);
  return left;
}

}  // namespace pivotrace

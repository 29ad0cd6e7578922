#include "pivotrace/pivots/limit_rooms.h"

#include "pivots/limit_scale.h"

namespace pivotrace {

namespace {

bool is_followed(ValueKind kind) {
  return kind == ValueKind::centre || kind == ValueKind::orientation || kind == ValueKind::slope;
}

Expected<ValueRoom> room_of(const Limit& limit, bool inch) {
  const auto scale = limit_scale(quantity_kind(limit.value.name->kind), limit.unit, inch);
  if (!scale) return failure(unit_does_not_suit(limit));
  ValueRoom room;
  room.name = *limit.value.name;
  room.of_change = limit.change;
  double per_inside = scale->per_physical;
  if (room.name.kind == ValueKind::slope) {
    room.name.kind = ValueKind::orientation;
    per_inside *= lean_length_mm;  // tan x = x for leans
  }
  if (limit.low) room.room.low = *limit.low / per_inside;
  if (limit.high) room.room.high = *limit.high / per_inside;
  return room;
}

}  // namespace

Expected<LimitRooms> limit_rooms(const Limits& limits, const std::string& machine_name,
                                 bool allow_other_machine) {
  Problems problems = limits.validate();
  const bool other = !limits.machine.empty() && limits.machine != machine_name;
  if (other && !allow_other_machine) {
    problems.push_back(of_another_machine(limits.machine, "the limits are", machine_name, limits));
  }
  LimitRooms rooms;
  for (const Limit& limit : limits.limits) {
    if (!limit.value.name) {
      problems.push_back({ProblemNumber::no_such_value,
                          "\"" + limit.value.written + "\" names no value", limit.where,
                          "see pivotrace write RESULT --list"});
      continue;
    }
    if (!is_followed(limit.value.name->kind)) {
      rooms.not_followed.push_back(limit.value.written);
      continue;
    }
    const auto room = room_of(limit, limits.inch);
    if (room) {
      rooms.rooms.push_back(*room);
    } else {
      problems.insert(problems.end(), room.error().begin(), room.error().end());
    }
  }
  if (limits.part) rooms.not_followed.emplace_back("part");
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return rooms;
}

}  // namespace pivotrace

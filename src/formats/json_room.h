// Room of a value in JSON: [low, high], null for an open end; null where there is none.
#pragma once

#include <cmath>
#include <optional>

#include "formats/json_writer.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace::formats {

inline void add_room(JsonWriter& json, const char* key, const std::optional<Room>& room,
                     double unit) {
  if (!room) {
    json.add_null(key);
    return;
  }
  json.begin_array(key, JsonLayout::one_line);
  for (const double end : {room->low, room->high}) json.add({}, unit * end);
  json.end();
}

}  // namespace pivotrace::formats

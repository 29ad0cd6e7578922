#include "app/followed_limits.h"

#include <ostream>

#include "pivotrace/formats/limits_file.h"
#include "pivotrace/pivots/limit_rooms.h"

namespace pivotrace::app {

Expected<std::vector<ValueRoom>> followed_limits(const std::string& limits_file,
                                                 const std::string& machine_name,
                                                 bool allow_other_machine, const Console& console) {
  if (limits_file.empty()) return std::vector<ValueRoom>();
  const auto limits = read_limits(limits_file, console.disk);
  if (!limits) return tl::make_unexpected(limits.error());
  const auto rooms = limit_rooms(*limits, machine_name, allow_other_machine);
  if (!rooms) return tl::make_unexpected(rooms.error());
  std::string names;
  for (const std::string& name : rooms->not_followed) names += (names.empty() ? "" : ", ") + name;
  if (!names.empty()) {
    console.err << "not followed here, see pivotrace judge: " << names << '\n';
  }
  return rooms->rooms;
}

}  // namespace pivotrace::app

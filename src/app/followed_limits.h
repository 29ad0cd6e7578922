// --limits where values are followed from survey to survey.
#pragma once

#include <string>
#include <vector>

#include "app/console.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace::app {

/// The rooms a limits file leaves the values of a machine; none without a file. Limits that only one result
/// can be judged by are named on the error stream.
Expected<std::vector<ValueRoom>> followed_limits(const std::string& limits_file,
                                                 const std::string& machine_name,
                                                 bool allow_other_machine, const Console& console);

}  // namespace pivotrace::app

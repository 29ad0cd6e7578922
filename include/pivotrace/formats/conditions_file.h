// Under what conditions a survey was made, as the machine file and the touch record state them.
#pragma once

#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/conditions.h"

namespace pivotrace {

/// `[conditions]` of a machine file. Errors as parse_machine().
Expected<Conditions> conditions_of_machine(std::string_view text, const std::string& name);

/// The `# key: value` lines of a touch record that state conditions; a record without such lines, or a
/// file that is no record at all, states none. Faults in them are reported by parse_survey().
Conditions conditions_of_record(std::string_view text);

}  // namespace pivotrace

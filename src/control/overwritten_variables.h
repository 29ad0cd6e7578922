// Which variables a program overwrites, and whether the control can show what they hold.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "control/speller.h"
#include "pivotrace/control/steps.h"

namespace pivotrace::control {

/// Variables the count of what is held takes for itself: how many, the first, the one looked at, its
/// content. They are shown one by one, since counting overwrites them.
inline constexpr std::array<const char*, 4> counting_variables = {
    "variables that hold something", "the first of them", "variable looked at", "what it holds"};

/// Every variable, table and result the program writes to, the counting ones aside; ascending, what
/// touches or overlaps is one range.
std::vector<VariableRange> overwritten(const ControlProgram& program, const ControlSheet& sheet,
                                       const VariableNumbers& numbers);

/// "100 to 190 and 500 to 530".
std::string ranges_text(const std::vector<VariableRange>& ranges);

/// It shows values in a text, loops, and works out variable numbers.
bool can_count_contents(const ControlSheet& sheet);

/// The variable whose number stands in another one, spelled.
std::string variable_at(const ControlSheet& sheet, const std::string& number);

}  // namespace pivotrace::control

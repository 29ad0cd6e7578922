// Log statements of a control sheet: read from the program, printed as the control would.
#pragma once

#include "control/block.h"

namespace pivotrace::control {

/// The columns of a log statement: "DATA[#101[44],#102[44]]" by the forms of LogRules.
Expected<std::vector<LogItem>> read_log_line(const std::string& line, int line_number,
                                             const std::string& file, const ControlSheet& sheet,
                                             Nodes& nodes);

/// A value as the control prints it. Empty when it has more digits before the mark than `whole`.
std::string log_value(double value, const LogItem& item, const LogRules& rules);

}  // namespace pivotrace::control

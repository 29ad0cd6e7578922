// What verbs that use a result say and return when they refuse.
#pragma once

#include <optional>
#include <string>

#include "app/console.h"
#include "pivotrace/pivots/pivot_values.h"

namespace pivotrace::app {

/// Reports the problems and gives their exit code. A result that is not usable and a change or a
/// value that is refused for what it is (P501, P504..P507) are "done, but not good".
ExitCode refuse(const Console& console, const Problems& problems);

/// "A" -> 'A'; nothing when the option was not given. P115 for anything but one letter.
Expected<std::optional<char>> axis_letter(const std::string& text);

/// "mm" or "inch" as the option validated it.
LengthUnit length_unit(const std::string& word);
/// The units of the machine file where the option was not given.
LengthUnit length_unit(const std::string& word, const FitResult& result);

}  // namespace pivotrace::app

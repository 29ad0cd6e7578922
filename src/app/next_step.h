// The next command to type, complete with the names in use: what every verb ends with.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "app/console.h"
#include "pivotrace/results/result.h"

namespace pivotrace::app {

/// "pivotrace " and the words as a shell takes them: one with a blank or a sign of its own is quoted.
std::string command_line(const std::vector<std::string>& words);

/// "next: " and the command, on `err`.
void say_next(const Console& console, const std::vector<std::string>& words);

/// "parts/my.touches.csv", ".result.json" -> "parts/my.result.json".
std::string beside(std::string_view file, std::string_view ending);

/// The machine file the result was fitted with, as it was named then; beside `result_file` by its name
/// where the result does not say.
std::string machine_file_of(const FitResult& result, std::string_view result_file);

/// A result has a file of its own, which the next command can name.
inline bool is_kept(const std::string& output) { return !output.empty() && output != "-"; }

}  // namespace pivotrace::app

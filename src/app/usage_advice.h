// When a command cannot be done as typed: one line that says what to type.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// What is wrong with `words` (as typed after "pivotrace") that the command line refused with `error`,
/// and the command that was probably meant: a command, an option or a value misspelt, a file missing.
std::string usage_advice(const CLI::App& program, const std::vector<std::string>& words,
                         const CLI::ParseError& error);

/// Files that are good but stand in each other's place, or are of another kind than this verb takes: what
/// to type instead. Nothing when every file is of the kind it should be; the problems are then the user's
/// to read.
std::optional<std::string> wrong_file_advice(const CLI::App& verb, const Problems& problems,
                                             FileCalls& disk);

}  // namespace pivotrace::app

// Where dialects are looked for.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// In order: the user's own (XDG_CONFIG_HOME or ~/.config, /pivotrace/routines), beside the program
/// (routines), and where the package installs them (../share/pivotrace/routines).
std::vector<std::string> dialect_folders(FileCalls& disk);

}  // namespace pivotrace::app

// Where control sheets are looked for.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/control/control_sheet.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// In order: the user's own (XDG_CONFIG_HOME or ~/.config, /pivotrace/routines), beside the program
/// (routines), and where the package installs them (../share/pivotrace/routines).
std::vector<std::string> control_sheet_folders(FileCalls& disk);

/// The bare names of all sheets in these folders, each once, in the order of the folders.
std::vector<std::string> control_sheet_names(FileCalls& disk);

/// The control sheet a user named: a bare name in these folders, or a file.
Expected<ControlSheet> named_control_sheet(const std::string& name, FileCalls& disk);

}  // namespace pivotrace::app

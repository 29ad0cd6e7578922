// Where control sheets are looked for.
#pragma once

#include <string>
#include <vector>

#include "app/shipped_sheets.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// In order: the user's own (pivotrace/routines in `settings_folder`), beside the program (routines), and
/// where the package installs them (../share/pivotrace/routines).
std::vector<std::string> control_sheet_folders(FileCalls& disk);

/// The bare names of all sheets in these folders and of those the program carries, each once, in that
/// order.
std::vector<std::string> control_sheet_names(FileCalls& disk);

/// The text of the sheet a user named: a file, a bare name in these folders, or one the program carries.
Expected<SheetText> control_sheet_text(const std::string& name, FileCalls& disk);

/// That sheet, read.
Expected<ControlSheet> named_control_sheet(const std::string& name, FileCalls& disk);

}  // namespace pivotrace::app

// Control sheets as files: how one control spells a program. Shipped in routines/, copied and filled in
// by users.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

/// Reads a control sheet; every problem is reported at once with line and column. The keys are those
/// of the slots (control/slots.h), and `format`, `setup`, `[[refuse]]`, `precedence` under
/// [expressions], `[pages]` (slot = where the manual says it) and `[proof]`. What is left out keeps the
/// default of the member of ControlSheet; "?" leaves a slot open.
/// Errors: P101, P102..P108 as their names say; P403 from ControlSheet::validate().
Expected<ControlSheet> parse_control_sheet(std::string_view text, const std::string& name);

/// read_file, then parse_control_sheet.
Expected<ControlSheet> read_control_sheet(const std::string& path,
                                          FileCalls& disk = system_file_calls());

/// The text of a sheet with this proof in it: its [proof] table replaced, or one added at the end.
std::string with_proof(std::string_view text, const ProofRecord& proof);

/// The file of a control sheet named on the command line. A name with a slash or ".toml" is a path;
/// a bare word is looked for as `<word>.toml` in `folders`, in order.
/// Errors: P601 naming every folder looked in.
Expected<std::string> find_control_sheet(const std::string& wanted,
                                         const std::vector<std::string>& folders,
                                         FileCalls& disk = system_file_calls());

}  // namespace pivotrace

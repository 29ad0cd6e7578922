// Dialect files: how one control spells a program. Shipped in routines/, copied and edited by users.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/dialect.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

/// Reads a dialect; every problem is reported at once with line and column. Keys are the members of
/// Dialect and its parts, in the tables [text], [numbers], [variables], [expressions],
/// [assignment], [branches], [motion], [skip], [position], [stops], [log], [offsets], [dwell],
/// [spindle], [words] and [[refuse]]; what is left out keeps the default of the member.
/// Errors: P101, P102..P108 as their names say; P403 from Dialect::validate().
Expected<Dialect> parse_dialect(std::string_view text, const std::string& name);

/// read_file, then parse_dialect.
Expected<Dialect> read_dialect(const std::string& path, FileCalls& disk = system_file_calls());

/// The file of a dialect named on the command line. A name with a slash or ".toml" is a path;
/// a bare word is looked for as `<word>.toml` in `folders`, in order.
/// Errors: P601 naming every folder looked in.
Expected<std::string> find_dialect(const std::string& wanted,
                                   const std::vector<std::string>& folders,
                                   FileCalls& disk = system_file_calls());

}  // namespace pivotrace

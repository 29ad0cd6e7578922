// Mapping files, `*.mapping.toml`: which number of a text file takes which pivot value.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/pivots/mapping.h"

namespace pivotrace {

/// Reads a mapping; every problem in it is reported at once, with line and column.
///   format = 1
///   machine = "..."             # optional; a result of another machine is then refused
///   [[entry]]
///   value = "A.centre.Y"        # `pivotrace write RESULT --list` shows the names
///   key = "pivotY"              # or pattern = '...(...)...', or line = 12
///   unit = "mm"                 # mm inch | deg rad arcsec | mm_per_300 mm_per_m
///   sign = 1                    # 1 or -1
///   scale = 1.0
///   reference = 0.0             # or reference_value = "A.centre.Y"
///   decimals = 4
///   plus_sign = false
///   decimal_mark = "."          # or ","
///   largest_change = 1.0        # mm, deg or mm per 300 mm
/// written = sign * scale * (value - reference).
/// Errors: P101 .. P106 as their names say, P108 format, P509 from Mapping::validate.
Expected<Mapping> parse_mapping(std::string_view text, const std::string& name);

/// read_file, then parse_mapping. Errors: also P601, P603, P604.
Expected<Mapping> read_mapping(const std::string& path, FileCalls& disk = system_file_calls());

}  // namespace pivotrace

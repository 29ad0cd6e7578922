// Limits files, `*.limits.toml`: what a result is judged against.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/pivots/limits.h"

namespace pivotrace {

/// Reads limits; every problem is reported at once, with line and column.
///   format = 1
///   units = "mm"                # or "inch"
///   machine = "..."             # optional
///   guard_factor = 1.0          # width of the guard band in U95
///   [[limit]]
///   value = "A.centre.Y"        # or a deviation range "A.F_R"
///   low = -200.02               # and/or high; or nominal with within
///   high = -199.98
///   unit = "arcsec"             # optional: mm inch deg arcsec mm_per_300
///   change = false              # true: the change since the previous result
///   [part]
///   from = [x, y, z]            # box that holds the parts, machine coordinates, rotary at 0
///   to = [x, y, z]
///   at = ["A=0", "A=180"]       # index positions where features meet
///   mismatch = 0.02             # optional: largest step allowed
/// Errors: P101 .. P108 as their names say.
Expected<Limits> parse_limits(std::string_view text, const std::string& name);

/// read_file, then parse_limits. Errors: also P601, P603, P604.
Expected<Limits> read_limits(const std::string& path, FileCalls& disk = system_file_calls());

}  // namespace pivotrace

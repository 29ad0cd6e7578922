// How a rotary unit stands on the machine table: blocks of a machine file, or a `*.feet.toml`.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/pivots/shim.h"

namespace pivotrace {

/// Reads the feet; every problem is reported at once, with line and column. In a machine file the
/// other blocks are passed over; a feet file of its own starts with format, units and, optional,
/// machine.
///   [[foot]]
///   name = "left front"
///   at = [-380.0, -280.0, -400.0]   # machine coordinates
///   fixed = false                   # true: nothing goes under this one
///   [[key]]
///   name = "slot key"
///   at = [-300.0, -200.0, -400.0]
///   clearance = 0.02                # sideways play
///   [mounting]                      # all optional
///   table_normal = [0, 0, 1]
///   tailstock = [-50.0, -200.0, -250.0]
///   shims = [0.02, 0.05, 0.1]       # thicknesses at hand
///   most_shims = 3
///   part_reach = 150.0
///   mismatch = 0.01
/// Errors: P101 .. P108 as their names say.
Expected<Mounting> parse_mounting(std::string_view text, const std::string& name);

/// read_file, then parse_mounting. Errors: also P601, P603, P604.
Expected<Mounting> read_mounting(const std::string& path, FileCalls& disk = system_file_calls());

}  // namespace pivotrace

// Machine files, `*.machine.toml`: travels, rotary axes, probe, artefacts and obstacles.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// A quoted centre may miss its quoted plane by no more than rounding of typed coordinates [mm].
inline constexpr double quote_tolerance_mm = 0.002;

/// Reads a machine file; every problem in it is reported at once, with line and column.
///
/// Lengths are in the file's `units` ("mm" or "inch", 1 inch = 25.4 mm exactly) and converted here;
/// angles are degrees; `scale_u_um_per_m`, `squareness_u_um_per_m` and `index_sigma_arcsec` carry
/// their unit in the name and do not follow `units`. Directions are made unit vectors.
///
/// Each rotary centre is moved along its axis into the plane it is quoted at, direction . p =
/// quote_at; without `quote_at` that is the plane through the centre as written. A centre further
/// than quote_tolerance_mm from a stated `quote_at` is an error.
///
/// `length_datum = "tip"`: the control shows Z of the stylus tip. Coordinates in a Machine always
/// refer to the stylus-ball centre, so centres of tool-side axes, which the file gives from the
/// shown position, are lowered by the stylus radius along Z (the shown position rises by as much
/// when it refers to the ball centre); touch records are treated alike, see touch_file.h.
///
/// Errors: P101 not TOML, P102..P108 and P110 as their names say; P106 for a wrong choice word.
Expected<Machine> parse_machine(std::string_view text, const std::string& name);

/// read_file, then parse_machine. Errors: also P601, P603, P604.
Expected<Machine> read_machine(const std::string& path, FileCalls& disk = system_file_calls());

}  // namespace pivotrace

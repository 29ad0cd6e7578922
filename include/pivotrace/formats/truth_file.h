// Truth files, `*.truth.toml`: how a rehearsed machine really is, as differences from its machine
// file. What is left out is as the machine file says.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/rehearsal_truth.h"

namespace pivotrace {

/// Reads a truth file for `machine`; every problem in it is reported at once with line and column.
/// `units` as in machine files; angles are degrees, small ones arcsec or um/m as the key says.
///
///   machine         optional: name of the machine it was made for; another one is refused (P114)
///   [[axis]]        letter; centre_off = [x, y, z]; lean_deg = { X = 0.01, Y = ... } (right-handed
///                   turns of the axis line about the machine axes through its centre);
///                   positive_turn; reversal_arcsec (half the difference between an angle reached
///                   upwards and downwards); [[axis.index_error]] with at_deg, error_arcsec
///   [[artefact]]    name; off = [x, y, z] (rotary axes at 0); diameter; lean_deg
///   [linear]        scale_um_per_m = { X, Y, Z }; squareness_um_per_m = { XY, YZ, ZX } (Y leans
///                   towards +X, Z towards +Y, Z towards +X: X is the straight one, as in `fit`);
///                   origin = [x, y, z], where slides and scales agree
///   [stylus]        diameter; offset = [x, y, z] (ball centre from the shown position)
///   [trigger]       lobing; lobing_phase_deg; delay_s
///   [drift]         per_hour = [x, y, z] (of the tool, as it really is)
/// Errors: P101..P108 as their names say; P114; P601, P603, P604.
Expected<RehearsalTruth> parse_truth(std::string_view text, const std::string& name,
                                     const Machine& machine);
Expected<RehearsalTruth> read_truth(const std::string& path, const Machine& machine,
                                    FileCalls& disk = system_file_calls());

/// What can be told of a truth file without its machine file: everything but whether the machine
/// has these axes and artefacts.
struct TruthOutline {
  std::string machine_name;  ///< as the file says; may be empty
  std::vector<std::string> axes;
  std::vector<std::string> artefacts;
};
/// Errors: as parse_truth, except for names.
Expected<TruthOutline> outline_truth(std::string_view text, const std::string& name);

}  // namespace pivotrace

// What goes wrong on purpose in a rehearsal.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"

namespace pivotrace {

/// What goes wrong on purpose in a rehearsal.
enum class FaultKind {
  no_trigger,      ///< touch n is not noticed
  early_trigger,   ///< touch n triggers half-way, in the air
  moved_artefact,  ///< every artefact sits 3 mm off from touch n on
  wrong_turn,      ///< the work turns the wrong way from touch n on
  index_slip,      ///< the first turn after touch n ends 1 deg off and stays so
};

/// Size of the made-up faults.
inline constexpr double moved_artefact_mm = 3.0;
inline constexpr double index_slip_rad = 0.017453292519943295;  // 1 deg

struct Fault {
  FaultKind kind = FaultKind::no_trigger;
  /// Number of the probe move that would trigger, counted from 1; 0 = from the start.
  int touch = 1;
};

/// "no-trigger:5": kind and touch; without a number the touch is 1 (triggers) or 0 (the others).
Expected<Fault> fault_from_text(const std::string& text);
std::string fault_text(const Fault& fault);
/// "no-trigger", ... in the order of FaultKind.
std::vector<std::string> fault_words();

}  // namespace pivotrace

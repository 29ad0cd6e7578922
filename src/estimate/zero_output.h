// Where an axis really stands when it shows 0: told on the work side by an artefact whose direction or
// place the machine file states, on the tool side by two stylus lengths.
#pragma once

#include <optional>
#include <string>

#include "estimate/outputs.h"

namespace pivotrace {

struct ZeroOutput {
  Output output;   ///< rad, counted as the axis counts
  std::string by;  ///< the artefact, or what else tells
};

/// Zero of a work-side axis with the line u through c: with everything at 0 the touches see the artefact
/// turned by some angle from where the file says it stands when the axis really is at 0,
///   angle about u from v_stated to v_fitted;  v = its direction, or its place counted from the axis line.
/// A direction tells the axis that carries it, or, where it lies along that axis, the one outside. A place
/// tells the axis that carries it. Of several artefacts the best stated one speaks. Absent where none does.
///
/// Of a tool-side axis: v_stated = Z, v_fitted = the way between the centres of two stylus balls, each
/// used with the spindle at both sides, so that what turns with the spindle is out of it. Positions must
/// be those of the machine, without the length of either stylus: else the way is next to nothing, and
/// nothing is told.
std::optional<ZeroOutput> zero_output(const Model& model, int axis,
                                      const Eigen::VectorXd& unknowns);

}  // namespace pivotrace

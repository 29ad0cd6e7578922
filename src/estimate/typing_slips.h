// Which slip of the pen makes a row of a hand-typed list disagree with the others?
#pragma once

#include <optional>

#include "estimate/screening.h"
#include "pivotrace/results/finding.h"

namespace pivotrace {

/// The likely slip in a ball centre that was left out: two coordinates swapped, a sign lost, one digit,
/// one coordinate, or the angle of another row. Each is tried on the numbers as they were typed; it
/// counts when the row then agrees with the others within ten times their scatter (common practice, no
/// source) and no other slip explains it better. Absent for single touches and where none does.
///
/// `unknowns` are those of the adjustment without the row.
std::optional<finding::TypingSlip> likely_slip(const Model& model, const Survey& survey,
                                               const Eigen::VectorXd& unknowns,
                                               const RandomModel& random, const Suspect& suspect);

}  // namespace pivotrace

// Whether written values hold, for people and as JSON.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/confirm.h"

namespace pivotrace {

/// "holds", "does not hold", "cannot tell".
const char* holding_word(Holding holding);

/// The verdict, one line per value, and what to do.
std::string confirm_text(const FitResult& written, const std::vector<ConfirmedValue>& values,
                         LengthUnit unit);
/// What the step between two cuts says of the centre.
std::string cut_text(const CutTest& cut, const CutEvidence& evidence, LengthUnit unit);

}  // namespace pivotrace

// What was fitted from a rehearsed record beside the truth, as a table.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/results/beside_truth.h"

namespace pivotrace {

/// A table for people, in the units of the machine file.
std::string beside_truth_text(const std::vector<ValueBesideTruth>& values, bool inch);

}  // namespace pivotrace

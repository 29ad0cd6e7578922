// Results over time, for people.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/history.h"

namespace pivotrace {

/// One table with a small drawing of every value, under it what jumped or creeps, when to look again and
/// which files took no part.
std::string history_text(const History& history, LengthUnit unit);

/// Why a file took no part, in words.
std::string left_out_text(const LeftOutOfHistory& left_out);

/// What was otherwise than for the newest result, and for which results, a sentence each.
std::vector<std::string> condition_texts(const History& history);

}  // namespace pivotrace

// What moved, for people.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/length.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/compare.h"

namespace pivotrace {

/// One table to read aloud, under it what moved, how sure that is, and what to do next.
std::string comparison_text(const SurveyComparison& comparison, LengthUnit unit);

/// What to do, a sentence each, in the order of what it costs; the caution comes last where hands go in.
std::vector<std::string> steps_to_take(const SurveyComparison& comparison);

/// "the whole unit on the table", "axis B in its bearing", ...
std::string cause_text(const CauseName& cause);
/// "flip the spindle and touch again: ...", ...
std::string tell_apart_text(TellApart way);
/// What makes the comparison weaker than it looks, or leaves something out.
std::string note_text(const CompareNote& note, const SurveyComparison& comparison, LengthUnit unit);

}  // namespace pivotrace

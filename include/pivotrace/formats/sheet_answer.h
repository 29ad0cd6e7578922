// Filling in a control sheet: one answer into the text of the sheet, its remarks kept.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/slots.h"

namespace pivotrace {

/// The text of the sheet with the open slot answered. The answer is written as a person gives it:
/// text as it stands (quotes round it are taken off), yes/no or true/false, a whole number, two numbers
/// for a range ("700 799"), "X=1 Y=2" for numbers by axis, texts separated by " | " for lines.
/// Errors: P115 when the answer does not suit the slot, or the slot stands open nowhere in the text.
Expected<std::string> answered(std::string_view text, const Slot& slot, const std::string& answer);

/// How an answer to this slot is given, for people: "two whole numbers, such as 700 799".
std::string answer_form(const Slot& slot);

}  // namespace pivotrace

// What findings say, on every screen and in every file.
#pragma once

#include <string>

#include "pivotrace/results/finding.h"

namespace pivotrace {

/// Both sentences of a finding; a finding that came from a file says what the file says.
using FindingWords = finding::AsWritten;
FindingWords words_of(const Finding& finding);

/// What was found, in plain words.
std::string what_of(const Finding& finding);
/// What to do about it; may be empty.
std::string advice_of(const Finding& finding);

}  // namespace pivotrace

// How files name what makes results differ beside what moved.
#pragma once

#include "pivotrace/results/compare.h"

namespace pivotrace::formats {

/// "other-probe", "other-load", ...
const char* note_word(CompareNote::Kind kind);

}  // namespace pivotrace::formats

// What a patch would change, and what was read back after it, in words.
#pragma once

#include <string>

#include "pivotrace/pivots/patch.h"

namespace pivotrace {

/// Old, new, change and U95 side by side, then notes.
std::string patch_table(const PatchPlan& plan);
/// Unified diff with three lines of context, as UTF-8.
std::string patch_diff(const PatchPlan& plan);

/// Result and every home of every value side by side.
std::string verification_table(const Verification& verification);

}  // namespace pivotrace

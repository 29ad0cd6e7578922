// Where inch and mm meet.
#pragma once

namespace pivotrace::files {

/// 1 inch = 25.4 mm exactly (the international inch of 1959; from memory).
inline constexpr double mm_per_inch = 25.4;

}  // namespace pivotrace::files

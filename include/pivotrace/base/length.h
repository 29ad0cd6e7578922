// Inside, every length is in mm; this is the one number that leads to and from inches.
#pragma once

namespace pivotrace {

/// Exact since the international yard and pound agreement of 1959.
inline constexpr double mm_per_inch = 25.4;

}  // namespace pivotrace

// Index angles as people type them: "A=0,90,180", "A=0..270/90", "A=-30 C=45".
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// More index positions than this in one request are refused as a slip of the keyboard.
inline constexpr int most_index_positions = 3600;

/// The positions of every text, one after the other, each once. A text names one or more axes of
/// the result, parted by blanks or commas ("A=90,C=45"), and means every combination of their
/// angles, the last axis named turning fastest; axes not named stand at 0. After "=" stands a list
/// "0,90,180" or a range with a step "0..270/90" (both ends included), degrees. Angles come back in
/// the order of the result's axes [rad]; none for no text. P115 for anything else, P508 for an axis that
/// the result does not have on its work side.
Expected<std::vector<RotaryAngles>> index_angles(const FitResult& result,
                                                 const std::vector<std::string>& texts);

/// "A 90 deg C 45 deg": the work-side axes of the result at these angles.
std::string angles_text(const FitResult& result, const RotaryAngles& angles_rad);

}  // namespace pivotrace

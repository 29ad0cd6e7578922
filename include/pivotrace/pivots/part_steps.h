// How features of a part meet that were cut at different index positions.
#pragma once

#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/limits.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// The index positions that features of the part are cut at, each text of `part.at` by itself.
/// P115 and P508 as index_angles, at the place of the part.
Expected<std::vector<RotaryAngles>> part_positions(const FitResult& result,
                                                   const PartEnvelope& part);

/// Distance by which features cut at positions i and k miss each other while the program believes
/// the axis lines of the machine file and the axes run as fitted: max over the corners of the box of
/// |e(T_k) - e(T_i)|, e the error of part_mismatches [mm]. Symmetric, zero on the diagonal.
std::vector<std::vector<double>> part_steps(const FitResult& result, const PartEnvelope& part,
                                            const std::vector<RotaryAngles>& positions);

}  // namespace pivotrace

// Rounding wanted foot heights to stacks of the shims a shop has.
#pragma once

#include <functional>
#include <vector>

namespace pivotrace {

struct ShimStack {
  double thickness_mm = 0.0;
  std::vector<double> pieces_mm;  ///< thickest first; empty = nothing under this foot
};

struct StackRequest {
  std::vector<double> wanted_mm;  ///< per foot
  std::vector<bool> fixed;        ///< nothing goes under these
  std::vector<double> shims_mm;   ///< thicknesses at hand, any number of each
  int most_pieces = 3;            ///< under one foot
};

/// Every thickness that can be laid with at most `most_pieces`, each with the fewest pieces.
std::vector<ShimStack> possible_stacks(const std::vector<double>& shims_mm, int most_pieces);

/// The stacks whose rounding errors (laid - wanted, per foot) have the smallest `cost`; among
/// equals within a part in a thousand of the thinnest shim, the fewest pieces. Where no foot is
/// fixed, the whole unit may be raised a little to find stacks that suit better.
std::vector<ShimStack> round_to_shims(
    const StackRequest& request, const std::function<double(const std::vector<double>&)>& cost);

}  // namespace pivotrace

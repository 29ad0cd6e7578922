// Which causes explain a change of values, and how well.
#pragma once

#include "results/epoch_pair.h"

namespace pivotrace {

/// Most probable line first; lines below 1 % are left out.
std::vector<Explanation> explanations_of(const FitResult& new_result, const EpochPair& pair,
                                         double readings);

}  // namespace pivotrace

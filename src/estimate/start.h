// Where the adjustment starts: closed forms, so that a rough machine file is enough.
#pragma once

#include "estimate/model.h"

namespace pivotrace {

/// Starting unknowns under the model's turn senses: ball centres per station by an algebraic
/// sphere, axis lines by regression on cos and sin of the angle, the rest nominal; or all nominal, where
/// that leaves smaller gaps.
Eigen::VectorXd starting_unknowns(const Model& model);

}  // namespace pivotrace

// How high a face stands over the lines of the axes that carry it: what posts ask as pivot to table face.
#pragma once

#include "estimate/outputs.h"

namespace pivotrace {

/// Of a flat with outward normal n through q, for each estimated axis that carries it and lies along the
/// face (within 30 deg) with the line through c: n . (q - c), all axes at 0 [mm]. Where the line leans
/// against the face, c is its point in the quoted plane. Empty for other artefacts.
std::vector<Output> face_heights(const Model& model, int artefact, const Eigen::VectorXd& unknowns);

}  // namespace pivotrace

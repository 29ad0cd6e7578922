// Sensitivity of every output to what another survey may share.
#pragma once

#include "estimate/outputs.h"
#include "estimate/uncertainty.h"

namespace pivotrace {

/// `adjusted.by_common` must hold the columns of `common`, then those of `bounds` (asked_effects).
/// With N the information, P that of the stated radii and E picking the radii: an error d of a stated
/// artefact radius moves the unknowns by N^-1 E P e d, one of the stylus radius by N^-1 E P s d, s the
/// signs of bores; an error at an index position by -N^-1 J'C^-1 b, b its column. Derived here.
SurveyGains survey_gains(const Model& model, const Adjusted& adjusted,
                         const std::vector<Output>& outputs, const RandomModel& random,
                         const std::vector<CommonTerm>& common,
                         const std::vector<BoundTerm>& bounds);

}  // namespace pivotrace

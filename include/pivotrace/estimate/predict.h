// What a planned survey would give, before anything moves.
#pragma once

#include "pivotrace/estimate/fit.h"

namespace pivotrace {

/// The result a survey would have if every touch landed exactly where it is planned: nominal values
/// with the uncertainties the estimator itself would state (sigmas of the machine file; no variance
/// component is estimated from touches that do not exist yet). `planned` holds touches placed on
/// the nominal surfaces, for example by synthesise_survey without noise.
/// Fails like fit_survey where the plan cannot determine an unknown.
Expected<FitResult> predict_fit(const Machine& machine, const Survey& planned,
                                const FitOptions& options = {});

}  // namespace pivotrace

// From the triangles to covariances, U95 and the result the caller sees.
#pragma once

#include "embedded/passes.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// A result without values.
void clear_result(pivotrace_result& result);

/// Fills the result from the last pass, with the last columns of `felt` holding scales and squarenesses
/// as the axes feel them, and names in `undetermined` the axes whose U95 is beyond its limit. Overwrites
/// solution and `felt`.
void conclude(Work& work, pivotrace_result& result);

/// Names the places and diameters of artefacts known no better than the limit, by two sigma.
void name_artefacts_open(Work& work, pivotrace_result& result);

/// Uncertainties of a function of the axis unknowns with derivatives `by_unknown` (all of them);
/// `cancels`: variance that the function itself takes back.
void state_uncertainty(const pivotrace_result& result, const real* by_unknown, real cancels,
                       pivotrace_value& value);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

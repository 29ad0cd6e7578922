// What was fitted from a rehearsed record, beside the truth the rehearsal was given.
#pragma once

#include <vector>

#include "pivotrace/machine/machine.h"
#include "pivotrace/results/result.h"
#include "pivotrace/survey/rehearsal_truth.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// One value of a fit and what it should have been. Lengths mm, angles rad.
struct ValueBesideTruth {
  ValueName name;
  double fitted = not_run;
  double truth = not_run;
  double U95 = not_run;  ///< absolute: the truth knows what all touches have in common

  /// |fitted - truth| <= U95. A right U95 holds in 95 of 100 surveys, not in all of them.
  bool held() const;
};

/// Every centre, orientation and pivot length of the axes that were estimated.
///
/// Truth of a centre: where the true line pierces the quoted plane, in machine coordinates.
/// Truth of an orientation: ISO 230-1 angle of the true direction u, for a C axis
/// E_A0C = atan2(-u_y, u_z), E_B0C = atan2(u_x, u_z), and cyclically for A and B; for an axis
/// along no machine axis the component of nominal x true. Truth of a pivot length: distance of the
/// true line from the true stylus centre, less the stylus length for the gauge line.
/// A drift moves what the control shows against what is: the truth is that of the middle of the
/// survey in time where `survey` tells times, of its start where not.
/// Frames: as FitResult; the result and the truth must belong to `machine`.
std::vector<ValueBesideTruth> beside_truth(const FitResult& result, const Survey& survey,
                                           const Machine& machine, const RehearsalTruth& truth);

}  // namespace pivotrace

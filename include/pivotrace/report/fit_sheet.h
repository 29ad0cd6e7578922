// The result of a fit as an inspection sheet for a terminal or a printer.
#pragma once

#include <string>

#include "pivotrace/results/result.h"

namespace pivotrace {

struct FitSheetOptions {
  bool inch = false;         ///< show lengths in inches, as the machine file does
  bool every_touch = false;  ///< list every touch with its residual
};

/// Plain text, at most 100 columns. Sections: what was measured, each axis with its centre in the
/// quoted plane and its lean, axis pairs, artefacts, deviations by station, where the uncertainty
/// comes from, findings, verdict, cautions. Values that were refused do not appear.
std::string fit_sheet(const FitResult& result, const FitSheetOptions& options = {});

/// The trials beside what the fit states: half the 95 % interval against U95, output by output.
std::string trials_sheet(const TrialsResult& trials, const FitResult& result, bool inch);

}  // namespace pivotrace

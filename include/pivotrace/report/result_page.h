// A result as one page to look at, print and sign.
#pragma once

#include <string>

#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// What every trial of a survey repeated on paper made of one value, less the fitted one [mm or rad].
struct TrialSpread {
  ValueName name;
  std::vector<double> deviations;
};

struct ResultPageOptions {
  LengthUnit unit = LengthUnit::mm;
  std::string file;                     ///< the result's own name, for the list of files
  std::string sha256;                   ///< of its bytes
  std::string date;                     ///< of making the page, ISO 8601
  const JudgeReport* judged = nullptr;  ///< with limits: bars against them, and the verdict
  const PartEnvelope* part = nullptr;   ///< of the limits, for the steps between index positions
  std::vector<RotaryAngles> positions;  ///< of that part
  std::vector<TrialSpread> trials;      ///< drawn beside what is stated
};

/// One self-contained HTML file: no network, no scripts, light and dark, A4 and Letter. First the
/// verdict in one sentence and the caution, then values, figures with their numbers as tables,
/// findings with what to do, set-up, conditions, files with hashes, place for name and signature.
/// A result that is not usable shows its findings and figures, but no values.
std::string result_page(const FitResult& result, const ResultPageOptions& options);

}  // namespace pivotrace

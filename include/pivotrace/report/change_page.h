// Two results, or a history of them, as one page to look at, print and sign.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/report/reported_file.h"
#include "pivotrace/results/compare.h"
#include "pivotrace/results/history.h"

namespace pivotrace {

struct ChangePageOptions {
  LengthUnit unit = LengthUnit::mm;
  std::string date;     ///< of making the page, ISO 8601
  std::string version;  ///< of the program that makes it
  std::vector<ReportedFile> files;
};

/// What moved between two results: verdict, every change with its U95, what explains them, notes.
std::string comparison_page(const SurveyComparison& comparison, const ChangePageOptions& options);

/// Every value over time with U95, jumps, its control chart, and when to look again.
std::string history_page(const History& history, const ChangePageOptions& options);

}  // namespace pivotrace

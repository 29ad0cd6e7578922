// Results over time as JSON (schema examples/schemas/history-1.schema.json) and as CSV.
#pragma once

#include <string>

#include "pivotrace/results/history.h"

namespace pivotrace {

inline constexpr const char* history_format = "pivotrace-history-1";

/// Lengths mm, angles degrees (each value names its unit); times ISO 8601 as in the results.
std::string write_history(const History& history);

/// One row per value and result: file, started, value, unit, measured, U95, residual, chart, alarm.
std::string write_history_rows(const History& history);

}  // namespace pivotrace

// All pivot values of one result as a table: CSV, JSON or TOML.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

enum class TableFormat { csv, json, toml };

struct ValueTableOptions {
  TableFormat format = TableFormat::csv;
  LengthUnit unit = LengthUnit::mm;
  std::string date;  ///< of writing, ISO 8601
};

/// The table as text. CSV: RFC 4180 under `# key: value` lines; JSON: "pivotrace-values-1";
/// TOML: one [[value]] each. Refused with P501 when the result is not usable.
Expected<std::string> value_table(const FitResult& result, const ValueTableOptions& options);

}  // namespace pivotrace

// Pivot values in any other format: a text template with {{names}} in it (mustache).
#pragma once

#include <string>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

struct TemplateOptions {
  LengthUnit unit = LengthUnit::mm;
  int decimals = 4;  ///< of lengths in mm and of angles in deg; inch gets one more
  std::string date;  ///< of writing, ISO 8601
  std::string file;  ///< of the template, for messages
};

/// Fills a mustache template (mustache(5): `{{name}}`, `{{#list}}...{{/list}}`, `{{! comment}}`).
///   {{A.centre.Y}}          the value; also .U95, .unit, .meaning, .symbol, .opposite (sign turned)
///   {{machine}} {{measured}} {{fitted}} {{written}} {{units}} {{caution}}
///   `{{#value}} ... {{/value}}`  once for each value, with {{name}} {{number}} {{U95}} {{unit}}
///                              {{meaning}} {{symbol}}
/// Nothing is escaped. A name that does not exist is refused (P508), not left out: a gap where a
/// number should be can wreck a machine. A broken template is P101, an unusable result P501.
/// True when a filled template holds the text of {{caution}}.
bool shows_caution(const std::string& filled);

Expected<std::string> fill_template(const FitResult& result, const std::string& text,
                                    const TemplateOptions& options);

}  // namespace pivotrace

#include "pivotrace/report/pivot_value_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/wrapped_text.h"

namespace pivotrace {

std::string list_pivot_values(const std::vector<PivotValue>& values, LengthUnit unit,
                              bool simulated) {
  std::size_t widest = 4;
  for (const PivotValue& value : values) widest = std::max(widest, text_of(value.name).size());
  std::string text = fmt::format("{:<{}}  {:>14}  {:>10}  {:<10}  {}\n", "name", widest, "value",
                                 "U95", "unit", "ISO 230-1");
  for (const PivotValue& value : values) {
    const int decimals = shown_decimals(value.quantity, unit);
    const std::string word = unit_word(value.quantity, unit);
    const std::string symbol = iso_symbol(value.name);
    const std::string last = symbol.empty() ? word : fmt::format("{:<10}  {}", word, symbol);
    text +=
        fmt::format("{:<{}}  {:>14}  {:>10}  {}\n", text_of(value.name), widest,
                    fixed_text(shown_value(value.quantity, value.value, unit), decimals),
                    uncertainty_text(shown_value(value.quantity, value.U95, unit), decimals), last);
    text += wrapped(value.meaning, "    ", 4);
  }
  if (simulated) text += fmt::format("\n{}\n", simulated_notice);
  return text + '\n' + wrapped(coordinates_note, "", 0) +
         wrapped(caution(wrong_value_caution), "", 0);
}

}  // namespace pivotrace

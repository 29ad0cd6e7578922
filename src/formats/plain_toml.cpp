#include "formats/plain_toml.h"

#include <fmt/format.h>

#include "pivotrace/base/length.h"

namespace pivotrace::formats {

namespace {

constexpr long long newest_format = 1;

}  // namespace

bool format_is_known(TomlTable& top) {
  const auto format = top.integer("format", Need::required);
  if (!format || *format == newest_format) return true;
  top.report(
      "format", ProblemNumber::unsupported_format,
      fmt::format("this file has format {}, this program reads format {}", *format, newest_format),
      "use a newer pivotrace, or write the file anew with `format = 1`");
  return false;
}

bool read_opening(TomlTable& top, Units units) {
  if (!format_is_known(top)) return false;
  if (units == Units::required && !top.has("units")) {
    top.report_here(ProblemNumber::missing_key, "`units` is missing",
                    "add a line `units = \"mm\"` or `units = \"inch\"`; nothing is guessed");
  }
  const auto word = top.choice("units", Need::optional, {"mm", "inch"});
  top.set_mm_per_length(word == "inch" ? mm_per_inch : 1.0);
  return true;
}

bool in_inches(const TomlTable& top) { return top.mm_per_length() != 1.0; }

}  // namespace pivotrace::formats

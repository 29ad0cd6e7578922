#include "pivotrace/report/beside_truth_text.h"

#include <fmt/format.h>

#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

std::string length_row(const ValueBesideTruth& value, bool inch) {
  const double per_unit = inch ? mm_per_inch : 1.0;
  const int decimals = inch ? 5 : 4;
  return fmt::format("{:>14.{}f}{:>14.{}f}{:>+12.{}f}{:>11.{}f}  {}", value.truth / per_unit,
                     decimals, value.fitted / per_unit, decimals,
                     (value.fitted - value.truth) / per_unit, decimals, value.U95 / per_unit,
                     decimals, inch ? "in" : "mm");
}

std::string angle_row(const ValueBesideTruth& value) {
  return fmt::format("{:>14.1f}{:>14.1f}{:>+12.1f}{:>11.1f}  arcsec", arcsec_from_rad(value.truth),
                     arcsec_from_rad(value.fitted), arcsec_from_rad(value.fitted - value.truth),
                     arcsec_from_rad(value.U95));
}

}  // namespace

std::string beside_truth_text(const std::vector<ValueBesideTruth>& values, bool inch) {
  std::string text = fmt::format(
      "FITTED BESIDE THE STATED TRUTH (made up: a rehearsal)\n  {:<19}{:<7}{:>14}{:>14}"
      "{:>12}{:>11}\n",
      "", "", "truth", "fitted", "difference", "U95");
  int held = 0;
  for (const ValueBesideTruth& value : values) {
    held += value.held() ? 1 : 0;
    text += fmt::format("  {:<19}{:<7}{}{}\n", text_of(value.name), iso_symbol(value.name),
                        is_angle(value.name) ? angle_row(value) : length_row(value, inch),
                        value.held() ? "" : "  OUTSIDE");
  }
  return text + fmt::format("  {} of {} within U95; a right U95 holds in 95 of 100 surveys\n", held,
                            values.size());
}

}  // namespace pivotrace

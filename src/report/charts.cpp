#include "report/charts.h"

#include <algorithm>
#include <cmath>

#include "base/number_text.h"

namespace pivotrace::report {

namespace {

constexpr const char* minus_sign = "\xE2\x88\x92";
constexpr const char* not_told = "\xE2\x80\x93";

}  // namespace

double nice_ceiling(double amount) {
  const double decade = std::pow(10.0, std::floor(std::log10(amount)));
  for (const double step : {1.0, 2.0, 5.0}) {
    if (step * decade >= amount * (1.0 - 1e-9)) return step * decade;
  }
  return 10.0 * decade;
}

std::string shown(double value, int decimals) {
  if (!std::isfinite(value)) return not_told;
  std::string text = fixed_text(value, decimals);
  if (!text.empty() && text[0] == '-') text.replace(0, 1, minus_sign);
  return text;
}

std::string shown_signed(double value, int decimals) {
  const std::string text = shown(value, decimals);
  const bool no_sign =
      !std::isfinite(value) || value < 0.0 || text.find_first_of("123456789") == std::string::npos;
  return no_sign ? text : "+" + text;
}

int decimals_for(double U95, int most) {
  if (!(U95 > 0.0) || !std::isfinite(U95)) return most;
  const int first_digit = static_cast<int>(std::floor(std::log10(U95)));
  return std::clamp(1 - first_digit, 0, most);
}

}  // namespace pivotrace::report

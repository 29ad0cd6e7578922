#include "base/pivot_number_text.h"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <limits>

namespace pivotrace {

namespace {

bool shows_only_zeros(const std::string& text) {
  return text.find_first_of("123456789") == std::string::npos;
}

}  // namespace

std::string fixed_text(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (std::isfinite(value) && text[0] == '-' && shows_only_zeros(text)) text.erase(0, 1);
  return text;
}

std::string signed_text(double value, int decimals) {
  std::string text = fixed_text(value, decimals);
  if (std::isfinite(value) && text[0] != '-') text.insert(0, 1, '+');
  return text;
}

double rounded_up(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  // A value that already stands on the grid must stay there in spite of its binary round-off.
  const double steps = std::ceil(std::abs(value) * scale * (1.0 - 1e-12));
  return std::copysign(steps / scale, value);
}

double number_from_text(const std::string& text) {
  double value = std::numeric_limits<double>::quiet_NaN();
  std::from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

std::string uncertainty_text(double U95, int decimals) {
  return std::isfinite(U95) ? fixed_text(rounded_up(U95, decimals), decimals) : "not stated";
}

}  // namespace pivotrace

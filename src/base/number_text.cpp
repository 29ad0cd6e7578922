#include "base/number_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "base/double_chars.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

/// No number a person or a control writes is longer; the rest is garbage.
constexpr std::size_t longest_number = 64;

/// Nobody types an angle with more than nine decimals.
constexpr double typed_decimals = 1e9;

/// from_chars knows no plus sign; strips one unless another sign follows.
std::string_view without_plus(std::string_view text) {
  const bool plus = text.size() > 1 && text[0] == '+' && text[1] != '-' && text[1] != '+';
  return plus ? text.substr(1) : text;
}

NumberReading convert(std::string_view text) {
  NumberReading reading;
  const auto [end, error] =
      double_from_chars(text.data(), text.data() + text.size(), reading.value);
  if (end != text.data() + text.size() || text.empty()) return reading;
  if (error == std::errc::invalid_argument) return reading;
  const bool representable = error == std::errc() && std::isfinite(reading.value);
  reading.fault = representable ? NumberFault::none : NumberFault::not_finite;
  return reading;
}

/// The number near `converted` that `to_radians` turns into exactly `radians`, if there is one.
double to_write(double radians, double converted, double (*to_radians)(double)) {
  const double as_typed = std::round(converted * typed_decimals) / typed_decimals;
  if (to_radians(as_typed) == radians) return as_typed;
  // The conversion rounds, so the wanted number may be a neighbour.
  double below = converted;
  double above = converted;
  for (int step = 0; step < 4; ++step) {
    if (to_radians(below) == radians) return below;
    if (to_radians(above) == radians) return above;
    below = std::nextafter(below, -std::numeric_limits<double>::infinity());
    above = std::nextafter(above, std::numeric_limits<double>::infinity());
  }
  return converted;
}

bool looks_numeric(std::string_view text) {
  return text.find_first_not_of("0123456789+-.,'eE ") == std::string_view::npos &&
         text.find_first_of("0123456789") != std::string_view::npos;
}

bool shows_only_zeros(const std::string& text) {
  return text.find_first_of("123456789") == std::string::npos;
}

}  // namespace

NumberReading read_number(std::string_view text) {
  NumberReading reading;
  if (text.empty()) {
    reading.fault = NumberFault::empty;
    return reading;
  }
  if (text.size() > longest_number) return reading;
  const std::string_view plain = without_plus(text);
  const auto points = std::count(plain.begin(), plain.end(), '.');
  const auto commas = std::count(plain.begin(), plain.end(), ',');
  if (points + commas > 1) {
    if (looks_numeric(plain)) reading.fault = NumberFault::two_meanings;
    return reading;
  }
  if (commas == 0) {
    reading = convert(plain);
  } else {
    std::array<char, longest_number> with_point{};
    std::replace_copy(plain.begin(), plain.end(), with_point.begin(), ',', '.');
    reading = convert({with_point.data(), plain.size()});
  }
  reading.has_point = points > 0;
  reading.has_comma = commas > 0;
  return reading;
}

void append_shortest(std::string& text, double value) { text += double_to_chars(value); }

std::string shortest_text(double value) {
  std::string text;
  append_shortest(text, value);
  return text;
}

double deg_to_write(double radians) {
  return to_write(radians, deg_from_rad(radians), rad_from_deg);
}

double arcsec_to_write(double radians) {
  return to_write(radians, arcsec_from_rad(radians), rad_from_arcsec);
}

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
  double_from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

std::string uncertainty_text(double U95, int decimals) {
  return std::isfinite(U95) ? fixed_text(rounded_up(U95, decimals), decimals) : "not stated";
}

}  // namespace pivotrace

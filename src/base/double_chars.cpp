#include "base/double_chars.h"

#include <fmt/format.h>

#include <array>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <string_view>

#ifndef __cpp_lib_to_chars
#include <fast_float/fast_float.h>
#endif

namespace pivotrace {

namespace {

/// value = 0.d1 d2 d3 ... times ten to the power of `point`.
struct ShortestDigits {
  std::string digits;
  int point = 0;
};

ShortestDigits shortest_digits(double magnitude) {
  const std::string text = fmt::format("{}", magnitude);
  const std::size_t mark = text.find('e');
  const std::string_view mantissa = std::string_view(text).substr(0, mark);
  ShortestDigits shortest;
  shortest.point = mark == std::string::npos ? 0 : std::atoi(text.c_str() + mark + 1);
  bool after_mark = false;
  for (const char c : mantissa) {
    if (c == '.') {
      after_mark = true;
      continue;
    }
    const bool leading_zero = shortest.digits.empty() && c == '0';
    if (!leading_zero) shortest.digits += c;
    if (!after_mark && !leading_zero) ++shortest.point;
    if (after_mark && leading_zero) --shortest.point;
  }
  while (shortest.digits.size() > 1 && shortest.digits.back() == '0') shortest.digits.pop_back();
  return shortest;
}

std::string scientific(const ShortestDigits& shortest) {
  std::string text = shortest.digits.substr(0, 1);
  if (shortest.digits.size() > 1) text += '.' + shortest.digits.substr(1);
  const int exponent = shortest.point - 1;
  return text + fmt::format("e{}{:02}", exponent < 0 ? '-' : '+', std::abs(exponent));
}

std::string plain(const ShortestDigits& shortest, double magnitude) {
  const int count = static_cast<int>(shortest.digits.size());
  if (shortest.point <= 0) {
    return "0." + std::string(static_cast<std::size_t>(-shortest.point), '0') + shortest.digits;
  }
  // Beyond the shortest digits a whole number continues with those it really has.
  if (shortest.point >= count) return fmt::format("{:.0f}", magnitude);
  std::string text = shortest.digits;
  return text.insert(static_cast<std::size_t>(shortest.point), 1, '.');
}

std::size_t plain_length(const ShortestDigits& shortest) {
  const int count = static_cast<int>(shortest.digits.size());
  if (shortest.point <= 0) return static_cast<std::size_t>(2 - shortest.point + count);
  return static_cast<std::size_t>(shortest.point >= count ? shortest.point : count + 1);
}

}  // namespace

std::string double_to_chars_by_digits(double value) {
  const std::string sign = std::signbit(value) ? "-" : "";
  const double magnitude = std::abs(value);
  if (magnitude == 0.0) return sign + '0';
  const ShortestDigits shortest = shortest_digits(magnitude);
  const std::string with_exponent = scientific(shortest);
  return sign + (plain_length(shortest) <= with_exponent.size() ? plain(shortest, magnitude)
                                                                : with_exponent);
}

#ifdef __cpp_lib_to_chars

std::from_chars_result double_from_chars(const char* first, const char* last, double& value) {
  return std::from_chars(first, last, value);
}

std::string double_to_chars(double value) {
  std::array<char, 32> buffer{};
  const auto result = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return {buffer.data(), result.ptr};
}

#else

namespace {

/// The library rounds to infinity or to zero without a word.
bool out_of_range(std::string_view text, double value) {
  if (std::isinf(value)) return text.find_first_of("iI") == std::string_view::npos;
  return value == 0.0 && text.substr(0, text.find_first_of("eE")).find_first_of("123456789") !=
                             std::string_view::npos;
}

}  // namespace

std::from_chars_result double_from_chars(const char* first, const char* last, double& value) {
  double read = 0.0;
  const auto result = fast_float::from_chars(first, last, read);
  if (result.ec != std::errc()) return {result.ptr, result.ec};
  const std::string_view text(first, static_cast<std::size_t>(result.ptr - first));
  if (out_of_range(text, read)) return {result.ptr, std::errc::result_out_of_range};
  value = read;
  return {result.ptr, std::errc()};
}

std::string double_to_chars(double value) { return double_to_chars_by_digits(value); }

#endif

}  // namespace pivotrace

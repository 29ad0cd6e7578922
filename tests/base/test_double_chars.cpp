#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <charconv>
#include <cmath>
#include <cstring>
#include <limits>

#include "base/double_chars.h"

using namespace pivotrace;

#ifdef __cpp_lib_to_chars

namespace {

std::string by_library(double value) {
  char buffer[64];
  return {buffer, std::to_chars(buffer, buffer + sizeof buffer, value).ptr};
}

}  // namespace

TEST_CASE("the layout made of digits is the one of the C++ standard's to_chars") {
  for (const double value : {0.0,
                             -0.0,
                             1.0,
                             0.1,
                             0.0001,
                             0.00012,
                             0.001,
                             100000.0,
                             1e5,
                             1e6,
                             1.5e5,
                             123456.0,
                             1e15,
                             1e16,
                             1e22,
                             1e23,
                             9007199254740993.0,
                             1.2345678901234568e+20,
                             5e-324,
                             4.35,
                             1e-7,
                             12.5e-5,
                             std::numeric_limits<double>::max(),
                             std::numeric_limits<double>::min()}) {
    CHECK(double_to_chars_by_digits(value) == by_library(value));
    CHECK(double_to_chars_by_digits(-value) == by_library(-value));
  }
  CHECK(rc::check("any bits", [](std::uint64_t bits) {
    double value = 0.0;
    std::memcpy(&value, &bits, sizeof value);
    RC_PRE(std::isfinite(value));
    RC_ASSERT(double_to_chars_by_digits(value) == by_library(value));
  }));
  CHECK(rc::check("numbers as they come up", [](std::int32_t mantissa, std::int8_t exponent) {
    const double value = mantissa * std::pow(10.0, exponent / 10);
    RC_ASSERT(double_to_chars_by_digits(value) == by_library(value));
  }));
}

#endif

TEST_CASE("a number beyond what a double holds leaves the value alone and says so") {
  double value = 7.0;
  for (const std::string text : {"1e999", "-1e999", "1e-999"}) {
    const auto read = double_from_chars(text.data(), text.data() + text.size(), value);
    CHECK(read.ec == std::errc::result_out_of_range);
    CHECK(value == 7.0);
  }
  const std::string zero = "0e-999";
  CHECK(double_from_chars(zero.data(), zero.data() + zero.size(), value).ec == std::errc());
  CHECK(value == 0.0);
}

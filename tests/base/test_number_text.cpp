#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <cmath>
#include <cstring>

#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"

using namespace pivotrace;

TEST_CASE("numbers as people type them") {
  CHECK(read_number("12.5").value == 12.5);
  CHECK(read_number("-270").value == -270.0);
  CHECK(read_number("+.5").value == 0.5);
  CHECK(read_number("5.").value == 5.0);
  CHECK(read_number("-1,25").value == -1.25);
  CHECK(read_number("-1,25").has_comma);
  CHECK(read_number("1e-3").value == 0.001);
  CHECK(read_number("0.1").value == 0.1);
}

TEST_CASE("what is no single number is told apart") {
  const auto fault = [](const char* text) { return static_cast<int>(read_number(text).fault); };
  const auto is = [](NumberFault wanted) { return static_cast<int>(wanted); };
  CHECK(fault("") == is(NumberFault::empty));
  for (const char* text :
       {"abc", "12.5mm", "1 2", "--5", "+-5", "-", ".", ",", "0x10", "1..2x", "12.5 ", "1e",
        "\xE2\x88\x92"
        "5"}) {
    INFO(text);
    CHECK(fault(text) == is(NumberFault::not_a_number));
  }
  for (const char* text : {"nan", "NaN", "inf", "-inf", "Infinity", "1e999", "-1e999"}) {
    INFO(text);
    CHECK(fault(text) == is(NumberFault::not_finite));
  }
  for (const char* text : {"1.234,5", "1,234.5", "1,234,567", "1.234.567"}) {
    INFO(text);
    CHECK(fault(text) == is(NumberFault::two_meanings));
  }
  CHECK(read_number(std::string(1000000, '1')).fault == NumberFault::not_a_number);
}

TEST_CASE("the shortest text of a number reads back as the same number") {
  CHECK(shortest_text(0.1) == "0.1");
  CHECK(shortest_text(-270.0) == "-270");
  CHECK(rc::check([](std::uint64_t bits) {
    double value = 0.0;
    std::memcpy(&value, &bits, sizeof value);
    RC_PRE(std::isfinite(value));
    RC_ASSERT(read_number(shortest_text(value)).value == value);
  }));
}

TEST_CASE("angles that came from degrees are written as those degrees") {
  CHECK(deg_to_write(rad_from_deg(30.0)) == 30.0);
  CHECK(deg_to_write(rad_from_deg(-117.123)) == -117.123);
  CHECK(rc::check([](std::int32_t seed) {
    const double degrees = seed * 1.6763806e-7;  // +-360
    RC_ASSERT(rad_from_deg(deg_to_write(rad_from_deg(degrees))) == rad_from_deg(degrees));
  }));
}

TEST_CASE("any other angle comes back within one unit in the last place") {
  CHECK(rc::check([](std::int32_t seed) {
    const double radians = seed * 3e-9;
    const double back = rad_from_deg(deg_to_write(radians));
    RC_ASSERT(std::abs(back - radians) <= std::abs(std::nextafter(radians, 1e9) - radians));
  }));
}

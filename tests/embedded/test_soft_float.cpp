// The arithmetic of float in whole numbers against the processor of this computer (IEEE 754).
#include <doctest/doctest.h>

#include <bit>
#include <cmath>
#include <cstdint>
#include <random>

#include "embedded/soft_float.h"

namespace pivotrace::testing {

namespace {

/// Any bits; every other time one of those where rounding and range change.
class Numbers {
 public:
  explicit Numbers(std::uint64_t seed) : random_(seed) {}

  std::uint32_t next() {
    const auto bits = static_cast<std::uint32_t>(random_());
    if (random_() % 2 == 0) return bits;
    static constexpr std::uint32_t corners[] = {
        0x00000000, 0x00000001, 0x007FFFFF, 0x00800000, 0x00800001, 0x3F7FFFFF, 0x3F800000,
        0x3F800001, 0x40000000, 0x4B800000, 0x7F7FFFFF, 0x7F800000, 0x7F800001, 0x7FC00000};
    return corners[random_() % std::size(corners)] | (bits & 0x80000000U);
  }

 private:
  std::mt19937_64 random_;
};

bool same(std::uint32_t bits, float number) {
  if (std::isnan(number)) return std::isnan(std::bit_cast<float>(bits));
  return bits == std::bit_cast<std::uint32_t>(number);
}

}  // namespace

TEST_CASE("quotients and orders of floats are those of the processor, bit by bit") {
  constexpr std::uint64_t seed = 41;
  CAPTURE(seed);
  Numbers numbers(seed);
  int wrong = 0;
  for (int i = 0; i < 2000000 && wrong == 0; ++i) {
    const std::uint32_t a = numbers.next();
    const std::uint32_t b = numbers.next();
    const auto x = std::bit_cast<float>(a);
    const auto y = std::bit_cast<float>(b);
    const std::int32_t order = soft_float::order(a, b);
    const bool right = same(soft_float::quotient(a, b), x / y) && (order == -1) == (x < y) &&
                       (order == 0) == (x == y) && (order == 1) == (x > y) &&
                       (order == soft_float::unordered) == std::isunordered(x, y);
    if (right) continue;
    ++wrong;
    CAPTURE(a);
    CAPTURE(b);
    CHECK(right);
  }
}

TEST_CASE("whole numbers become the floats the processor makes of them") {
  std::mt19937_64 random(42);
  for (int i = 0; i < 200000; ++i) {
    const int bits = static_cast<int>(random() % 32);
    const auto whole = static_cast<std::int32_t>(static_cast<std::uint32_t>(random()) >>
                                                 static_cast<unsigned>(bits));
    CAPTURE(whole);
    REQUIRE(same(soft_float::of_whole(whole), static_cast<float>(whole)));
    REQUIRE(same(soft_float::of_whole(-(whole & 0x7FFFFFFF)),
                 static_cast<float>(-(whole & 0x7FFFFFFF))));
  }
  CHECK(same(soft_float::of_whole(INT32_MIN), -2147483648.0F));
}

}  // namespace pivotrace::testing

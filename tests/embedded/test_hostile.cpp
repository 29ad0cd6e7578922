#include <doctest/doctest.h>

#include "hostile.h"

namespace pivotrace::testing {

// A million are sent, under sanitizers, by tests/run-embedded.
TEST_CASE(
    "hostile input gives a status, no wild number, and nothing is written outside the memory") {
  for (const Build* build : {&board_f32_1(), &board_f32_2(), &board_f64_1(), &board_f64_2(),
                             &board_f32_1_plain(), &board_f32_2_plain()}) {
    for (std::uint64_t seed = 1; seed <= 2500; ++seed) {
      const std::string fault = hostile_trial(*build, seed);
      if (!fault.empty()) FAIL_CHECK(fault);
    }
  }
}

}  // namespace pivotrace::testing

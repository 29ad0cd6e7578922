#include "hostile.h"

#include <random>
#include <vector>

namespace pivotrace::testing {

std::string hostile_trial(const Build& build, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::vector<std::uint8_t> bytes(600);
  for (std::uint8_t& byte : bytes) byte = static_cast<std::uint8_t>(random());
  const std::int32_t verdict = build.hostile(bytes.data(), bytes.size());
  if (verdict == 0) return {};
  return build.name + ", seed " + std::to_string(seed) + ": fault " + std::to_string(verdict);
}

}  // namespace pivotrace::testing

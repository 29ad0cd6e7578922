// Random numbers that are the same on every computer for the same seed.
#pragma once

#include <cstdint>
#include <random>

namespace pivotrace {

/// Standard normal deviates from the 64-bit Mersenne twister by the polar method. The standard
/// library's own normal distribution differs between vendors, which would break printed seeds.
class RandomStream {
 public:
  /// Streams with different `stream` numbers are independent for every practical purpose, so
  /// trial k of a study can be drawn on any thread.
  explicit RandomStream(std::uint64_t seed, std::uint64_t stream = 0);

  double normal();
  double uniform();  ///< in [0, 1)

 private:
  std::mt19937_64 engine_;
  bool has_spare_ = false;
  double spare_ = 0.0;
};

}  // namespace pivotrace

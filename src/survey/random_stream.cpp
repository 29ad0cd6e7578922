#include "pivotrace/survey/random_stream.h"

#include <cmath>

namespace pivotrace {

namespace {

/// Scrambles seed and stream number into one well-mixed word (the splitmix64 finaliser, Steele,
/// Lea, Flood 2014; constants from memory): neighbouring streams must not start alike.
std::uint64_t mixed(std::uint64_t word) {
  word += 0x9e3779b97f4a7c15ULL;
  word = (word ^ (word >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  word = (word ^ (word >> 27U)) * 0x94d049bb133111ebULL;
  return word ^ (word >> 31U);
}

}  // namespace

RandomStream::RandomStream(std::uint64_t seed, std::uint64_t stream)
    : engine_(mixed(mixed(seed) + stream)) {}

double RandomStream::uniform() { return static_cast<double>(engine_() >> 11U) * 0x1.0p-53; }

double RandomStream::normal() {
  if (has_spare_) {
    has_spare_ = false;
    return spare_;
  }
  double x = 0.0;
  double y = 0.0;
  double radius_squared = 0.0;
  do {
    x = 2.0 * uniform() - 1.0;
    y = 2.0 * uniform() - 1.0;
    radius_squared = x * x + y * y;
  } while (radius_squared >= 1.0 || radius_squared == 0.0);
  const double factor = std::sqrt(-2.0 * std::log(radius_squared) / radius_squared);
  spare_ = y * factor;
  has_spare_ = true;
  return x * factor;
}

}  // namespace pivotrace

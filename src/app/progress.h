// A line on stderr that says a long job is alive, with a bar when its length is known; only on
// terminals, only after the first second.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>

#include "app/console.h"

namespace pivotrace::app {

class ProgressLine {
 public:
  /// "rehearsing: 1200 blocks".
  ProgressLine(const Console& console, std::string what, std::string unit);
  /// "repeating: [#####...............] 2500 of 10000 trials"; needs total > 0.
  ProgressLine(const Console& console, std::string what, std::string unit, std::size_t total);

  void show(std::size_t count);
  /// Takes the line away, so that what follows begins in an empty one.
  void clear();

 private:
  using Clock = std::chrono::steady_clock;

  const Console& console_;
  std::string what_;
  std::string unit_;
  std::size_t total_ = 0;  ///< 0 = unknown
  Clock::time_point next_;
  bool shown_ = false;
};

}  // namespace pivotrace::app

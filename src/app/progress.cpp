#include "app/progress.h"

#include <algorithm>
#include <ostream>
#include <utility>

namespace pivotrace::app {

namespace {

constexpr std::chrono::milliseconds quiet_time{1000};
constexpr std::chrono::milliseconds between_updates{100};
constexpr const char* erase_line = "\r\033[K";
constexpr std::size_t bar_width = 30;

std::string bar(std::size_t count, std::size_t total) {
  const std::size_t filled = bar_width * std::min(count, total) / total;
  return '[' + std::string(filled, '#') + std::string(bar_width - filled, '.') + ']';
}

}  // namespace

ProgressLine::ProgressLine(const Console& console, std::string what, std::string unit)
    : console_(console),
      what_(std::move(what)),
      unit_(std::move(unit)),
      next_(Clock::now() + quiet_time) {}

ProgressLine::ProgressLine(const Console& console, std::string what, std::string unit,
                           std::size_t total)
    : ProgressLine(console, std::move(what), std::move(unit)) {
  total_ = total;
}

void ProgressLine::show(std::size_t count) {
  if (!console_.err_is_terminal) return;
  const Clock::time_point now = Clock::now();
  if (now < next_) return;
  next_ = now + between_updates;
  shown_ = true;
  console_.err << erase_line << what_ << ": ";
  if (total_ > 0) console_.err << bar(count, total_) << ' ';
  console_.err << count;
  if (total_ > 0) console_.err << " of " << total_;
  console_.err << ' ' << unit_ << std::flush;
}

void ProgressLine::clear() {
  if (std::exchange(shown_, false)) console_.err << erase_line << std::flush;
}

}  // namespace pivotrace::app

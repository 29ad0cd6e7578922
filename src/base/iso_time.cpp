#include "base/iso_time.h"

#include <chrono>

namespace pivotrace {

namespace {

constexpr double seconds_per_minute = 60.0;
constexpr double seconds_per_hour = 3600.0;
constexpr double seconds_per_day = 86400.0;

/// Eats a text from the left.
class Scanner {
 public:
  explicit Scanner(std::string_view text) : rest_(text) {}

  bool done() const { return rest_.empty(); }

  /// The number that the next `count` digits write, when it lies within low..high.
  std::optional<int> digits(std::size_t count, int low, int high) {
    if (rest_.size() < count) return std::nullopt;
    int value = 0;
    for (const char digit : rest_.substr(0, count)) {
      if (digit < '0' || digit > '9') return std::nullopt;
      value = 10 * value + (digit - '0');
    }
    rest_.remove_prefix(count);
    if (value < low || value > high) return std::nullopt;
    return value;
  }

  /// The next letter, when it is one of these.
  std::optional<char> letter(std::string_view choices) {
    if (done() || choices.find(rest_[0]) == std::string_view::npos) return std::nullopt;
    const char found = rest_[0];
    rest_.remove_prefix(1);
    return found;
  }

  /// The value of the digits behind a decimal mark: "25" -> 0.25. At least one digit.
  std::optional<double> decimals() {
    double value = 0.0;
    double place = 1.0;
    while (const auto digit = letter("0123456789")) {
      place /= 10.0;
      value += place * (*digit - '0');
    }
    if (place == 1.0) return std::nullopt;
    return value;
  }

 private:
  std::string_view rest_;
};

std::optional<double> read_day(Scanner& scanner) {
  const auto year = scanner.digits(4, 0, 9999);
  if (!year || !scanner.letter("-")) return std::nullopt;
  const auto month = scanner.digits(2, 1, 12);
  if (!month || !scanner.letter("-")) return std::nullopt;
  const auto day = scanner.digits(2, 1, 31);
  if (!day) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(*year),
                                         std::chrono::month(static_cast<unsigned>(*month)),
                                         std::chrono::day(static_cast<unsigned>(*day))};
  if (!date.ok()) return std::nullopt;
  return static_cast<double>(std::chrono::sys_days(date).time_since_epoch().count()) *
         seconds_per_day;
}

/// Seconds of a minute with their fraction; 0 when the text ends with the minutes.
std::optional<double> read_seconds(Scanner& scanner) {
  if (!scanner.letter(":")) return 0.0;
  const auto seconds = scanner.digits(2, 0, 60);
  if (!seconds) return std::nullopt;
  if (!scanner.letter(".,")) return *seconds;
  const auto fraction = scanner.decimals();
  if (!fraction) return std::nullopt;
  return *seconds + *fraction;
}

std::optional<double> read_clock(Scanner& scanner) {
  const auto hours = scanner.digits(2, 0, 24);
  if (!hours || !scanner.letter(":")) return std::nullopt;
  const auto minutes = scanner.digits(2, 0, 59);
  if (!minutes) return std::nullopt;
  const auto seconds = read_seconds(scanner);
  if (!seconds) return std::nullopt;
  const bool after_midnight = *hours == 24 && (*minutes > 0 || *seconds > 0.0);
  if (after_midnight) return std::nullopt;
  return *hours * seconds_per_hour + *minutes * seconds_per_minute + *seconds;
}

/// How far local time is ahead of UTC.
std::optional<double> read_zone(Scanner& scanner) {
  if (scanner.done() || scanner.letter("Zz")) return 0.0;
  const auto sign = scanner.letter("+-");
  if (!sign) return std::nullopt;
  const auto hours = scanner.digits(2, 0, 23);
  if (!hours) return std::nullopt;
  double ahead = *hours * seconds_per_hour;
  if (!scanner.done()) {
    scanner.letter(":");
    const auto minutes = scanner.digits(2, 0, 59);
    if (!minutes) return std::nullopt;
    ahead += *minutes * seconds_per_minute;
  }
  return *sign == '-' ? -ahead : ahead;
}

}  // namespace

std::optional<double> seconds_from_iso(std::string_view text) {
  Scanner scanner(text);
  const auto day = read_day(scanner);
  if (!day || scanner.done()) return day;
  if (!scanner.letter("T ")) return std::nullopt;
  const auto clock = read_clock(scanner);
  if (!clock) return std::nullopt;
  const auto ahead = read_zone(scanner);
  if (!ahead || !scanner.done()) return std::nullopt;
  return *day + *clock - *ahead;
}

}  // namespace pivotrace

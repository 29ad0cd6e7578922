#include "base/iso_time.h"

#include <chrono>
#include <cstdlib>
#include <regex>

namespace pivotrace {

namespace {

double number(const std::sub_match<std::string::const_iterator>& match) {
  return match.matched ? std::strtod(match.str().c_str(), nullptr) : 0.0;
}

double zone_seconds(const std::string& zone) {
  if (zone.empty() || zone == "Z" || zone == "z") return 0.0;
  const double hours = std::strtod(zone.substr(1, 2).c_str(), nullptr);
  const double minutes = std::strtod(zone.substr(zone.size() - 2).c_str(), nullptr);
  const double seconds = hours * 3600.0 + (zone.size() > 3 ? minutes * 60.0 : 0.0);
  return zone[0] == '-' ? -seconds : seconds;
}

}  // namespace

std::optional<double> seconds_from_iso(const std::string& text) {
  constexpr std::size_t longest = 40;
  if (text.size() > longest) return std::nullopt;
  static const std::regex form(
      R"((\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?(Z|z|[+-]\d{2}(?::?\d{2})?)?)?)");
  std::smatch match;
  if (!std::regex_match(text, match, form)) return std::nullopt;
  using namespace std::chrono;
  const year_month_day day{year{static_cast<int>(number(match[1]))},
                           month{static_cast<unsigned>(number(match[2]))},
                           std::chrono::day{static_cast<unsigned>(number(match[3]))}};
  if (!day.ok()) return std::nullopt;
  const double days = static_cast<double>(sys_days{day}.time_since_epoch().count());
  return days * 86400.0 + number(match[4]) * 3600.0 + number(match[5]) * 60.0 + number(match[6]) -
         zone_seconds(match[7].matched ? match[7].str() : "");
}

}  // namespace pivotrace

#include "pivotrace/pivots/limits.h"

#include <fmt/format.h>

#include <cmath>

namespace pivotrace {

namespace {

/// More guard band than this is a slip of the hand (common practice, no source).
constexpr double largest_guard_factor = 3.0;

void check_limit(const Limit& limit, Problems& problems) {
  const auto add = [&](const std::string& what, const std::string& advice) {
    problems.push_back({ProblemNumber::out_of_range,
                        fmt::format("limit on \"{}\": {}", limit.value.written, what), limit.where,
                        advice});
  };
  if (!limit.low && !limit.high) add("neither low nor high", "give one of them, or both");
  const bool finite =
      (!limit.low || std::isfinite(*limit.low)) && (!limit.high || std::isfinite(*limit.high));
  if (!finite) add("a limit is not a number", "write a number");
  if (limit.low && limit.high && !(*limit.low < *limit.high)) {
    add("low is not below high", "exchange them");
  }
}

void check_part(const PartEnvelope& part, Problems& problems) {
  const auto add = [&](const std::string& what, const std::string& advice) {
    problems.push_back({ProblemNumber::out_of_range, "part: " + what, part.where, advice});
  };
  if (!part.from_mm.allFinite() || !part.to_mm.allFinite()) {
    add("a corner is not three numbers", "give from and to as [x, y, z]");
  }
  if (part.at.empty()) add("no index positions", "for example at = [\"A=0\", \"A=180\"]");
  if (part.mismatch_mm && !(*part.mismatch_mm > 0.0)) {
    add("the mismatch allowed is not above 0", "give it as a positive length");
  }
}

}  // namespace

Problems Limits::validate() const {
  Problems problems;
  if (limits.empty() && !part) {
    problems.push_back({ProblemNumber::no_data,
                        "there is nothing to judge",
                        {file, 0, 0},
                        "add a [[limit]] or a [part]"});
  }
  if (!(guard_factor >= 0.0 && guard_factor <= largest_guard_factor)) {
    problems.push_back({ProblemNumber::out_of_range,
                        "the guard factor is out of range",
                        {file, 0, 0},
                        "use 1 (ISO 14253-1), or 0 for simple acceptance"});
  }
  for (const Limit& limit : limits) check_limit(limit, problems);
  if (part) check_part(*part, problems);
  return problems;
}

}  // namespace pivotrace

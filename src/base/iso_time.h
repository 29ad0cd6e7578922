// ISO 8601 points in time, compared across time zones.
#pragma once

#include <optional>
#include <string>

namespace pivotrace {

/// Seconds since 1970-01-01 UTC of "2026-03-02", "2026-03-02T08:00:00", "...Z" or "...+01:00"
/// (seconds and their fraction optional; without a zone UTC is meant). Nothing when it is no date.
std::optional<double> seconds_from_iso(const std::string& text);

}  // namespace pivotrace

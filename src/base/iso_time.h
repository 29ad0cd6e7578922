// ISO 8601 points in time, compared across time zones.
#pragma once

#include <optional>
#include <string_view>

namespace pivotrace {

/// Seconds since 1970-01-01 UTC of a calendar date, alone or with a time of day, in the extended
/// format of ISO 8601-1:2019: "2026-03-02", "2026-03-02T08:00", "2026-03-02 08:00:00.5",
/// "...Z", "...+01:00", "...+0100", "...+01". A blank for the T is what people write (RFC 3339,
/// 5.6). Without a zone UTC is meant. 24:00 is the end of the day, second 60 a leap second: both
/// count as the moment after. Nothing when the text is anything else, or a day no calendar has.
std::optional<double> seconds_from_iso(std::string_view text);

}  // namespace pivotrace

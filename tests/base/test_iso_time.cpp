#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <chrono>

#include "base/iso_time.h"

using namespace pivotrace;

TEST_CASE("points in time whose seconds are published") {
  // RFC 3339, section 5.8: the same instant in two zones, and the leap second of 1990.
  CHECK(seconds_from_iso("1996-12-19T16:39:57-08:00") == seconds_from_iso("1996-12-20T00:39:57Z"));
  CHECK(seconds_from_iso("1990-12-31T23:59:60Z") == seconds_from_iso("1990-12-31T15:59:60-08:00"));
  CHECK(seconds_from_iso("1937-01-01T12:00:27.87+00:20").has_value());
  // POSIX.1-2017, 4.16: the Epoch; and 2^31 s after it.
  CHECK(seconds_from_iso("1970-01-01T00:00:00Z") == 0.0);
  CHECK(seconds_from_iso("2038-01-19T03:14:08Z") == 2147483648.0);
}

TEST_CASE("the forms people and programs write") {
  const double day = *seconds_from_iso("2026-03-05");
  CHECK(seconds_from_iso("2026-03-05T14:30") == day + 14.5 * 3600.0);
  CHECK(seconds_from_iso("2026-03-05 14:30:15") == day + 14.5 * 3600.0 + 15.0);
  CHECK(seconds_from_iso("2026-03-05T14:30:15.25Z") == day + 14.5 * 3600.0 + 15.25);
  CHECK(seconds_from_iso("2026-03-05T14:30:15,25z") == day + 14.5 * 3600.0 + 15.25);
  CHECK(seconds_from_iso("2026-03-05T14:30:15+0100") == day + 13.5 * 3600.0 + 15.0);
  CHECK(seconds_from_iso("2026-03-05T14:30:15+01") == day + 13.5 * 3600.0 + 15.0);
  CHECK(seconds_from_iso("2026-03-05T14:30:15-05:30") == day + 20.0 * 3600.0 + 15.0);
  CHECK(seconds_from_iso("2026-03-05T24:00") == seconds_from_iso("2026-03-06"));
  CHECK(seconds_from_iso("2028-02-29").has_value());
}

TEST_CASE("what is no point in time is refused") {
  for (const char* bad : {"",
                          "2026",
                          "2026-13-05",
                          "2026-00-05",
                          "2026-03-32",
                          "2026-02-29",
                          "2026-04-31",
                          "05.03.2026",
                          "2026-03-05T",
                          "2026-03-05T25:00",
                          "2026-03-05T24:00:01",
                          "2026-03-05T14:60",
                          "2026-03-05T14:30:61",
                          "2026-03-05T14:30:15.",
                          "2026-03-05T14:30 or so",
                          "2026-03-05T14:30:15+99:00",
                          "2026-03-05T14:30:15+01:0",
                          "2026-03-05Z",
                          "2026-3-5",
                          " 2026-03-05"}) {
    INFO(bad);
    CHECK_FALSE(seconds_from_iso(bad));
  }
}

TEST_CASE("later text is later time") {
  CHECK(rc::check([] {
    const auto days = *rc::gen::inRange(-700000, 2000000);
    const std::chrono::year_month_day date{std::chrono::sys_days(std::chrono::days(days))};
    RC_PRE(int(date.year()) >= 0 && int(date.year()) <= 9999);
    char text[32];
    std::snprintf(text, sizeof text, "%04d-%02u-%02uT06:00Z", int(date.year()),
                  unsigned(date.month()), unsigned(date.day()));
    RC_ASSERT(seconds_from_iso(text) == 86400.0 * days + 6.0 * 3600.0);
  }));
}

// The time written into files and programs.
#pragma once

#include <string>

namespace pivotrace::app {

/// Now, ISO 8601, UTC: "2026-03-02T09:00:00Z".
std::string utc_now();

}  // namespace pivotrace::app

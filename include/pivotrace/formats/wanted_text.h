// What a person wants of values, as typed: "3um", "3um,8arcsec", "A.centre.Z=2um,A.orientation.B=5arcsec".
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/plan/find_plan.h"

namespace pivotrace {

/// U95 [mm or rad] of every length, of every angle, and of values named one by one.
struct WantedText {
  std::optional<double> length_mm;
  std::optional<double> angle_rad;
  std::vector<WantedU95> values;
};

/// Items divided by commas; units um, mm, in, arcsec, deg. Errors: P115 for every item that is none.
Expected<WantedText> parse_wanted(std::string_view text);

/// One length above 0, "5um". Errors: as parse_wanted.
Expected<double> parse_length_mm(std::string_view text);

}  // namespace pivotrace

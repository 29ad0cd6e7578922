// Units of the result file: which entries are angles, and how estimates change unit.
#pragma once

#include <string_view>

#include "pivotrace/results/result.h"

namespace pivotrace::formats {

/// Names look like "A.location.Y" (mm) and "A.orientation.B" (angle).
inline bool names_an_angle(std::string_view name) {
  return name.find(".orientation.") != std::string_view::npos;
}

/// Value and uncertainties in another unit; the degrees of freedom stay.
inline Estimate scaled(Estimate estimate, double factor) {
  estimate.value *= factor;
  estimate.u *= factor;
  estimate.U95 *= factor;
  estimate.u_absolute *= factor;
  estimate.U95_absolute *= factor;
  return estimate;
}

}  // namespace pivotrace::formats

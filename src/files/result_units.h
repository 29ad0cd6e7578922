// Which entries of a joint covariance are angles.
#pragma once

#include <string_view>

namespace pivotrace::files {

/// Names look like "A.location.Y" (mm) and "A.orientation.B" (angle).
inline bool names_an_angle(std::string_view name) {
  return name.find(".orientation.") != std::string_view::npos;
}

}  // namespace pivotrace::files

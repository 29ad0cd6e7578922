// Lengths as findings and refusals say them: in the unit of the machine file.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <string>

#include "pivotrace/base/length.h"

namespace pivotrace {

/// "0.0123 mm" or "0.00048 inch".
inline std::string length_text(double length_mm, bool inch) {
  return inch ? fmt::format("{:.5f} inch", length_mm / mm_per_inch)
              : fmt::format("{:.4f} mm", length_mm);
}

/// "+0.0123 mm" or "-0.00048 inch".
inline std::string signed_length_text(double length_mm, bool inch) {
  return (length_mm < 0.0 ? "-" : "+") + length_text(std::abs(length_mm), inch);
}

/// "0.00100 mm" or "0.000039 inch": a sigma.
inline std::string fine_length_text(double length_mm, bool inch) {
  return inch ? fmt::format("{:.6f} inch", length_mm / mm_per_inch)
              : fmt::format("{:.5f} mm", length_mm);
}

/// "8.31 mm" or "0.327 inch": what is known to be rough, by its first digits.
inline std::string rough_length_text(double length_mm, bool inch) {
  return inch ? fmt::format("{:.3g} inch", length_mm / mm_per_inch)
              : fmt::format("{:.3g} mm", length_mm);
}

}  // namespace pivotrace

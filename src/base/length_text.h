// Lengths as a screen shows them: in the unit of the machine file.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <string>

#include "pivotrace/base/length.h"

namespace pivotrace {

inline const char* length_unit_word(bool inch) { return inch ? "inch" : "mm"; }

inline double in_length_unit(double mm, bool inch) { return inch ? mm / mm_per_inch : mm; }

/// "2.29" (two decimals), "0.090" in inches: one more, as an inch is more.
inline std::string length_number(double mm, bool inch, int decimals_mm) {
  return fmt::format("{:.{}f}", in_length_unit(mm, inch), inch ? decimals_mm + 1 : decimals_mm);
}

/// The same with its unit: "2.29 mm". A measured length is told to 0.1 um.
inline std::string length_text(double mm, bool inch, int decimals_mm = 4) {
  return length_number(mm, inch, decimals_mm) + " " + length_unit_word(inch);
}

/// "+0.0123 mm" or "-0.00048 inch".
inline std::string signed_length_text(double mm, bool inch) {
  return (mm < 0.0 ? "-" : "+") + length_text(std::abs(mm), inch);
}

/// "8.31 mm" or "0.327 inch": what is known to be rough, by its first digits.
inline std::string rough_length_text(double mm, bool inch) {
  return fmt::format("{:.3g} {}", in_length_unit(mm, inch), length_unit_word(inch));
}

/// A round number as a person wrote it: "6 mm", "0.25 inch".
inline std::string round_length_text(double mm, bool inch) {
  return fmt::format("{:.4g} {}", in_length_unit(mm, inch), length_unit_word(inch));
}

/// "X -170.950 Y -125.207 Z -193.000 mm"; `position` is anything with x(), y() and z().
template <class Vector>
std::string position_words(const Vector& position_mm, bool inch) {
  return fmt::format("X {} Y {} Z {} {}", length_number(position_mm.x(), inch, 3),
                     length_number(position_mm.y(), inch, 3),
                     length_number(position_mm.z(), inch, 3), length_unit_word(inch));
}

}  // namespace pivotrace

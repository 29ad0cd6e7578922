// Numbers as text for files and screens.
#pragma once

#include <string>

namespace pivotrace {

/// `value` with this many decimals, "." as the mark in every locale, never "-0.000".
std::string fixed_text(double value, int decimals);

/// As fixed_text with a sign always shown: "+0.0012".
std::string signed_text(double value, int decimals);

/// Uncertainty as text: "not stated" for NaN.
std::string uncertainty_text(double U95, int decimals);

/// The number a text starts with, in any locale; NaN when it is none.
double number_from_text(const std::string& text);

/// Rounded away from zero at the last decimal kept, so that a stated uncertainty never shrinks.
double rounded_up(double value, int decimals);

}  // namespace pivotrace

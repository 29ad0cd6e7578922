// Numbers as people type them, numbers as short as they can be written without loss, and numbers
// with the digits a screen shows.
#pragma once

#include <string>
#include <string_view>

namespace pivotrace {

enum class NumberFault {
  none,
  empty,
  not_a_number,  ///< text, or text after the number
  not_finite,    ///< NaN, infinity, or beyond what a double holds
  two_meanings,  ///< both a point and a comma, or two of them: a thousands mark?
};

struct NumberReading {
  double value = 0.0;
  NumberFault fault = NumberFault::not_a_number;
  bool has_point = false;
  bool has_comma = false;  ///< it was read as a decimal comma
};

/// Reads the whole text as one decimal number: sign, digits, one point or comma, exponent.
NumberReading read_number(std::string_view text);

/// Fewest digits that read back as the same double (std::to_chars); finite values only.
std::string shortest_text(double value);
void append_shortest(std::string& text, double value);

/// Degrees to write for an angle, such that rad_from_deg gives back exactly this angle whenever any
/// double does (always when the angle came from degrees).
double deg_to_write(double radians);

/// The same in seconds of arc.
double arcsec_to_write(double radians);

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

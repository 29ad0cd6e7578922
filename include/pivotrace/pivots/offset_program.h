// A program that sets a work offset to a measured centre: RS274/NGC, `G10 L2 Pn X.. Y.. Z..`.
#pragma once

#include <optional>
#include <string>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// Work offsets a program can name: G54 = 1 ... G59 = 6, G59.1 .. G59.3 = 7 .. 9 (NISTIR 6556).
inline constexpr int first_work_offset = 1;
inline constexpr int last_work_offset = 9;

/// Longest program line this writer makes. The report allows 256 characters, the original
/// interpreter's source 253; shorter lines fit the screens of controls.
inline constexpr int longest_program_line = 100;

/// Decimals of a coordinate: half a last place is 0.00005 mm or 0.000005 inch.
inline constexpr int program_decimals_mm = 4;
inline constexpr int program_decimals_inch = 5;

struct OffsetProgramOptions {
  int work_offset = first_work_offset;
  /// Axis whose centre becomes the origin. Not needed when only one work-side axis was estimated.
  std::optional<char> axis;
  /// With a second axis: the origin is the foot of the common normal on `axis`, towards this one;
  /// then all three coordinates are determined.
  std::optional<char> foot_towards;
  LengthUnit unit = LengthUnit::mm;
  std::string date;  ///< of writing, ISO 8601; goes into the header comment
};

/// The program text, lines ended by LF. Only the coordinates the axis determines are written; the
/// words of the others are left out, so the control keeps its values (G10 L2 leaves axes alone
/// that are not named). Refuses: unusable result P501; axis not in the result, not estimated, on
/// the tool side, or not said where there are several P508; work offset out of range P115.
/// Source of the rules: RS274/NGC version 3, NISTIR 6556 (2000), G10 L2 and comments.
Expected<std::string> offset_program(const FitResult& result, const OffsetProgramOptions& options);

/// Text that can stand in one comment: no parentheses, no control or non-ASCII characters, no '%'.
std::string comment_safe(const std::string& text);

/// One or more comment lines `(...)`, wrapped so that none is longer than `longest_program_line`.
std::string comment_lines(const std::string& text);

/// "G54" .. "G59", "G59.1" .. "G59.3" for 1 .. 9.
std::string work_offset_word(int work_offset);

}  // namespace pivotrace

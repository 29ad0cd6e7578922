// A program that sets a work offset to a measured centre, spelled by a control sheet.
#pragma once

#include <optional>
#include <string>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// Work offsets with a word of their own: G54 = 1 ... G59 = 6, G59.1 .. G59.3 = 7 .. 9 (NISTIR 6556).
/// Which of them a program may write, the control sheet says.
inline constexpr int first_work_offset = 1;
inline constexpr int last_work_offset = 9;

/// Decimals of a coordinate on screens and in tables: half a last place is 0.00005 mm or 0.000005
/// inch. In a program the control sheet decides.
inline constexpr int program_decimals_mm = 4;
inline constexpr int program_decimals_inch = 5;

struct OffsetProgramOptions {
  /// The work offset to write; never guessed.
  std::optional<int> work_offset;
  /// Axis whose centre becomes the origin. Not needed when only one work-side axis was estimated.
  std::optional<char> axis;
  /// With a second axis: the origin is the foot of the common normal on `axis`, towards this one;
  /// then all three coordinates are determined.
  std::optional<char> foot_towards;
  LengthUnit unit = LengthUnit::mm;
  bool simulated_allowed = false;  ///< a result of a rehearsal is refused otherwise
  std::string date;                ///< of writing, ISO 8601; goes into the header comment
};

/// The program text. Only the coordinates the axis determines are written; the words of the others
/// are left out, so the control keeps its values (of RS274/NGC's G10 L2: NISTIR 6556). Refuses:
/// unusable result P501, and a simulated one unless allowed; axis not in the result, not estimated, on
/// the tool side, or not said where there are several P508; work offset not named or not one of the
/// control sheet's P115; what the control sheet cannot spell P402.
Expected<std::string> offset_program(const FitResult& result, const ControlSheet& sheet,
                                     const OffsetProgramOptions& options);

/// Empty when the result may be written: made on a machine, or of a rehearsal and allowed.
Problems refuse_simulated(const FitResult& result, bool allowed);

/// The number of a work offset the control sheet's programs may write, or why not.
Expected<int> writable_offset(const ControlSheet& sheet, std::optional<int> number);

/// "G54" .. "G59", "G59.1" .. "G59.3" for 1 .. 9.
std::string work_offset_word(int work_offset);

/// One line for people that names a work offset as the control does: "G54 (number 1)".
std::string work_offset_name(const ControlSheet& sheet, int work_offset);

}  // namespace pivotrace

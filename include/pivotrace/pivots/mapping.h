// Which number of a text file takes which pivot value, and how it is spelled there.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/pivot_values.h"

namespace pivotrace {

/// Unit the number has in the target file, before `scale`.
enum class FileUnit {
  automatic,  ///< mm, deg or mm_per_300 by the kind of the value
  mm,
  inch,
  deg,
  rad,
  arcsec,
  mm_per_300,
  mm_per_m,
};

/// How a number is spelled in the target file.
struct NumberFormat {
  int decimals = 4;
  bool plus_sign = false;  ///< "+1.5" instead of "1.5"
  std::optional<char>
      decimal_mark;  ///< '.' or ','; absent = '.', and "1,5" is refused as ambiguous
};

/// One number of the target file. It is found by `key`, by `key` and `number`, by `pattern`, or by
/// `line` alone; `line` beside one of the others narrows the search to that line.
///   written = sign * scale * (value in `unit` - reference)
struct MappingEntry {
  AskedValue value;  ///< a pivot value
  /// Exact text that stands before the number, apart from blanks, a closing quote and one of = : ,
  std::optional<std::string> key;
  /// Which number after the key, from 1. They are counted to the end of the line, or to the bracket
  /// that closes the list if one was opened, over as many lines as that takes. Absent: the number
  /// stands right after the key.
  std::optional<int> number;
  /// Regular expression (RE2) with exactly one capture, the number; applied line by line.
  std::optional<std::string> pattern;
  std::optional<int> line;  ///< counted from 1
  FileUnit unit = FileUnit::automatic;
  double sign = 1.0;       ///< +1 or -1
  double scale = 1.0;      ///< 1000 for a list that counts in thousandths
  double reference = 0.0;  ///< in `reference_unit`; subtracted before sign and scale
  FileUnit reference_unit = FileUnit::automatic;  ///< automatic: as `unit`
  std::optional<AskedValue> reference_value;      ///< or another pivot value, subtracted
  NumberFormat format;
  std::optional<double> largest_change;  ///< mm, deg or mm per 300 mm; absent = the default limits
  Place where;                           ///< of this entry in the mapping file
};

struct Mapping {
  std::string machine;  ///< name of the machine the target belongs to; empty = not stated
  std::vector<MappingEntry> entries;
  std::string file;  ///< for messages

  /// Every problem P509 with this mapping by itself; empty when it can be used.
  Problems validate() const;
};

/// A mapping entry met with the value it asks for.
struct MappedValue {
  double written = not_run;       ///< the number for the file, unrounded
  double U95_physical = not_run;  ///< mm, rad or mm per 300 mm
};

/// written = sign * scale * (value - reference), in the unit of the file. Fails with P508 for an
/// unknown value and P509 for a unit that does not suit it. The U95 of a value minus another comes
/// from their joint covariance; where that does not hold both, it is the sum of both U95: never too
/// small, whatever their correlation.
Expected<MappedValue> mapped_value(const std::vector<PivotValue>& values, const MappingEntry& entry,
                                   const JointCovariance& joint = {});

/// The inverse: what a number found in the file says about the value, mm, rad or mm per 300 mm.
Expected<double> physical_value(const std::vector<PivotValue>& values, const MappingEntry& entry,
                                double written);

/// The number as the file spells it.
std::string spelled(double written, const NumberFormat& format);

/// Reads a number spelled in this format. P111 when "," or "." could be read in two ways.
Expected<double> parse_number(const std::string& text, const NumberFormat& format);

}  // namespace pivotrace

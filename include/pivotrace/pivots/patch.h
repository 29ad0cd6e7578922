// Patching a text file (a post, a parameter list) with pivot values: plan first, then apply.
//
// Nothing outside the captured numbers changes, not a byte: encoding and line ends stay. The plan
// shows old, new, change and U95; applying it replaces the file as a whole or not at all.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/mapping.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// A change beyond these is refused unless it is allowed by name: more than a re-mounted unit
/// moves, so more likely a wrong sign, unit or reference. Common practice, no source.
inline constexpr double largest_change_mm = 1.0;
inline constexpr double largest_change_rad = 0.0087266462599716477;  // 0.5 deg

/// Files above this size are refused: no post and no parameter list is that long.
inline constexpr std::size_t largest_target_bytes = std::size_t{64} * 1024 * 1024;

/// What a person has said yes to.
struct PatchPermissions {
  bool large_change = false;
  bool small_change = false;
  bool other_machine = false;
  bool older_result = false;
};

/// The last patch of a file, as the record beside it tells.
struct LastPatch {
  std::string measured;  ///< of the result written then, ISO 8601
  std::string fitted;
  std::string machine;
  std::string written;
};

/// A file as it was read: its real path (symbolic links followed), every byte, and its record.
struct TargetFile {
  std::string path;       ///< as the user said it
  std::string real_path;  ///< what will be replaced
  std::string bytes;
  std::optional<LastPatch> last_patch;
  bool edited_since_last_patch = false;
  bool leads_elsewhere = false;  ///< the path said goes through a symbolic link
};

/// One number that changes.
struct Edit {
  ValueName value;
  std::size_t offset = 0;  ///< bytes into the file
  std::size_t length = 0;  ///< bytes replaced
  int line = 0;
  int column = 0;
  std::string old_text;
  std::string new_text;
  std::string new_bytes;  ///< new_text in the encoding of the file
  QuantityKind quantity = QuantityKind::length;
  double change = not_run;  ///< mm, rad or mm per 300 mm, of the value itself
  double U95 = not_run;     ///< of the value, same unit
  bool within_U95() const;
};

struct PatchPlan {
  TargetFile target;
  std::string machine;
  LengthUnit unit = LengthUnit::mm;  ///< of the machine file: changes are shown in it
  std::string measured;              ///< of the result, ISO 8601
  std::string fitted;
  std::vector<Edit> edits;  ///< in the order of the mapping
  std::string new_bytes;    ///< the whole file afterwards
  Problems objections;  ///< each names the permission that would lift it; empty = may be applied
  std::vector<std::string> notes;
};

/// What would change. Fails outright, with every problem found, on an unusable result (P501), an
/// unknown value (P508), a bad mapping (P509), a number not found exactly once (P502) or not to be
/// read (P111). Objections that a person may lift are in the plan: other machine P114, change too
/// large P504, every change smaller than its U95 P505, result older than the last patch P506.
Expected<PatchPlan> plan_patch(const FitResult& result, const Mapping& mapping,
                               const TargetFile& target, const PatchPermissions& permissions = {});

/// What one file says about one value.
struct HomeReading {
  std::string file;
  int line = 0;
  ValueName value;
  std::string text;  ///< as it stands there
  QuantityKind quantity = QuantityKind::length;
  double physical = not_run;   ///< mm, rad or mm per 300 mm
  double half_step = not_run;  ///< half a last decimal place of the format, same unit
};

/// Reads every mapped number of a file back. A mapping for another machine than the result's is
/// P114 unless it is allowed: numbers that agree by chance would prove nothing.
Expected<std::vector<HomeReading>> read_homes(const FitResult& result, const Mapping& mapping,
                                              const TargetFile& target,
                                              bool allow_other_machine = false);

/// One home beside the result.
struct HomeComparison {
  HomeReading home;
  double expected = not_run;  ///< of the result; mm, rad or mm per 300 mm
  bool agrees = false;
};

struct Verification {
  LengthUnit unit = LengthUnit::mm;  ///< of the machine file: values are shown in it
  std::vector<HomeComparison> rows;
  Problems disagreements;  ///< P507, one for each pair that disagrees; empty = all agree
};

/// Compares every home of every value with the result and with every other home of that value.
/// They agree when they differ by no more than half a last place of their formats.
Expected<Verification> verify_homes(const FitResult& result,
                                    const std::vector<std::vector<HomeReading>>& homes);

}  // namespace pivotrace

// Result files: everything a fit found, as JSON that programs and people can read.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

inline constexpr const char* result_format = "pivotrace-result-2";
/// Read as well: it calls the centre of an axis its location.
inline constexpr const char* former_result_format = "pivotrace-result-1";

/// Results list every touch, so they are larger than the record they come from: 1 GiB.
inline constexpr std::size_t result_read_limit_bytes = std::size_t{1024} * 1024 * 1024;

/// The result as JSON (RFC 8259), one touch and one station per line. Lengths are mm and angles
/// degrees, always; keys that hold angles end in `_deg` (`_arcsec` for index sigmas). Every key is
/// always present. `null` means:
///   - for a value: not run, or not determined;
///   - for `dof` of a value whose `u` is a number: no limit (every sigma came from the machine file,
///     so Student's t is the normal distribution);
///   - for a whole estimate, direction or name: there is none.
/// Rows and columns of `covariance` that belong to angles (`units` "deg") are in degrees. Numbers
/// have as many digits as it takes to read back the same double.
/// Findings stand in the words of `tell` (report/finding_words.h has them).
using FindingTeller = finding::AsWritten (*)(const Finding&);
std::string write_result(const FitResult& result, FindingTeller tell);

/// Reads what write_result wrote: every field comes back as it was, angles and their covariances
/// within angle_round_trip_tolerance (relative), because degrees are written.
/// Errors: P101 no JSON (with line and column), P108 another kind of file, P103 missing keys, P102
/// unknown keys, P104 wrong types, P105 values that contradict each other; `what` names the key by
/// its path, such as axes.A.centre.Y.value. All problems are reported at once.
Expected<FitResult> parse_result(std::string_view text, const std::string& name);

/// read_file, then parse_result. Errors: also P601, P603, P604.
Expected<FitResult> read_result(const std::string& path, FileCalls& disk = system_file_calls());

/// The same without the lists of touches, stations, budget, bounds, findings and effects, which stay empty:
/// in half the time, for a folder of results. What stands in those lists is not looked at.
Expected<FitResult> parse_result_values(std::string_view text, const std::string& name);
Expected<FitResult> read_result_values(const std::string& path,
                                       FileCalls& disk = system_file_calls());

/// Two conversions and two factors, each rounded once.
inline constexpr double angle_round_trip_tolerance = 1e-15;

}  // namespace pivotrace

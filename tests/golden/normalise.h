// The one place where text that may differ from run to run is taken out of the golden run.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace pivotrace::golden {

/// What is special to one pass through a list of runs.
struct Pass {
  std::vector<std::pair<std::string, std::string>> folders;  ///< absolute path, what stands for it
  std::string began_at;                                      ///< UTC, "YYYYMMDDhhmmss"
};

/// Now, UTC, "YYYYMMDDhhmmss".
std::string utc_digits();

/// The text with these replaced, and nothing else:
///   time stamps (2026-03-02T08:15:00Z, 20260302T081500Z) between the begin of the pass and now -> <now>;
///     those that come from input files stay
///   the version of the program ("pivotrace 0.1.0", "version": "0.1.0")   -> <version>
///   64 hexadecimal digits, the SHA-256 of a file                         -> <sha256>
///   paths of the folders of the pass, the longest first                  -> <folder>, ...
///   time taken ("seed 1, 0.1 s" of `fit --trials`, "solver_seconds": 1e-3) -> <seconds>
///   quotation marks of a command line in a line `next: ...`, which are those of the system -> '
///   the note on power cuts of systems that promise less                  -> nothing
/// Bytes that are no printable text (control characters but tab and line feed, and what is not UTF-8) are
/// written as \xNN, so that the golden texts are text.
std::string normalised(const std::string& text, const Pass& pass);

}  // namespace pivotrace::golden

// Where a verb speaks: results to `out`, messages to `err`, files to `disk`; who is listening decides
// progress.
#pragma once

#include <functional>
#include <iosfwd>
#include <optional>
#include <string>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// Exit codes of the program, documented in `pivotrace --help` and the page `errors` of the manual.
enum class ExitCode {
  good = 0,           ///< done and good
  not_good = 1,       ///< done, but out of limits or not usable
  wrong_input = 2,    ///< usage or input wrong
  cannot_solve = 3,   ///< cannot be solved from these data
  cannot_access = 4,  ///< could not read or write
  internal = 5,
};

struct Console {
  std::ostream& out;
  std::ostream& err;
  std::istream* in = nullptr;  ///< where answers to questions come from
  bool out_is_terminal = false;
  bool err_is_terminal = false;
  FileCalls& disk = system_file_calls();
  /// One line that says what to type instead of these problems, where somebody knows one.
  std::function<std::optional<std::string>(const Problems&)> what_to_type = {};

  /// Every problem on `err`, one under the other; or one line, where that says what to type.
  void report(const Problems& problems) const;
};

using VerbAction = std::function<ExitCode()>;

/// The exit code a list of problems calls for: reading and writing (P6xx) 4, observability and fit
/// (P2xx, P3xx) 3, everything else 2.
ExitCode exit_code_for(const Problems& problems);

/// Writes `text` to the file (all or nothing), or to `out` when the name is "-" or empty.
Expected<void> deliver(const Console& console, const std::string& file, const std::string& text);

}  // namespace pivotrace::app

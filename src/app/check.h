// What kind of file is this, and is it all right? Behind `pivotrace check`.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/plan/make_plan.h"

namespace pivotrace {

/// What was found in one file.
struct FileCheck {
  std::string file;
  std::string kind;     ///< "machine file", "touch record", "result"; empty when it is none of them
  std::string summary;  ///< a few lines in plain words on what was read; empty when it has problems
  Problems problems;
  std::optional<PlanOutcome> plan;  ///< of a plan: predicted anew

  bool good() const { return problems.empty(); }
};

/// "machine file", "touch record", "result", ..., told as `check_file` does; empty when it is none of them
/// or cannot be read.
std::string kind_of_file(const std::string& file, FileCalls& disk = system_file_calls());

/// Checks one file of any kind this program reads. The kind is told by the end of the name
/// (.machine.toml, .csv, .json), else by the content. A touch record is checked against
/// `machine_file`; without one, only what needs no machine is checked, and the summary says so.
/// A machine file that cannot be read is a problem of its own, not of the record.
FileCheck check_file(const std::string& file,
                     const std::optional<std::string>& machine_file = std::nullopt,
                     FileCalls& disk = system_file_calls());

/// Checks several files. Touch records are checked against `machine_file`, or else against the
/// machine file among `files`: the only one, or the one whose name the record states. A
/// `machine_file` that is not among `files` gets an entry of its own, at the front.
std::vector<FileCheck> check_files(const std::vector<std::string>& files,
                                   const std::optional<std::string>& machine_file = std::nullopt,
                                   FileCalls& disk = system_file_calls());

/// The same for programs: {"format": "pivotrace-check-1", "good": bool, "files": [{"file", "kind"
/// or null, "good", "summary", "problems": [{"number", "line", "column", "what", "advice"}]}]}, of a plan also "plan", as
/// `plan --json` has it: minutes, predicted, wanted, certificate.
std::string write_checks(const std::vector<FileCheck>& checks);

}  // namespace pivotrace

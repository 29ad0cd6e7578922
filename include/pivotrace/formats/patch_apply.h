// Reading and replacing the text file that a patch is for.
#pragma once

#include "pivotrace/disk/file_calls.h"
#include "pivotrace/pivots/patch.h"

namespace pivotrace {

/// Reads the file and the record of its last patch. Refuses what is no regular text file.
Expected<TargetFile> read_target(const std::string& path, FileCalls& disk = system_file_calls());

struct PatchReport {
  std::string file;
  std::string backup;
  std::string record;
  std::vector<std::string> notes;
};

/// Writes the plan: backup beside the file, record of the patch, temporary file in the same
/// folder, fsync, rename, fsync of the folder. Mode is kept, owner where permitted. Killed at any
/// moment, the file is wholly old or wholly new. Refuses a plan with objections, a file changed
/// since it was read (P503), a write-protected file, a file with several hard links (P602).
/// `written` is the time of writing, ISO 8601 UTC.
Expected<PatchReport> apply_patch(const PatchPlan& plan, const std::string& written,
                                  FileCalls& disk = system_file_calls());

}  // namespace pivotrace

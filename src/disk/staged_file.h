// A complete file under a temporary name: never a half-written one under its own.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

/// Folder part of a path: "." when it has none.
std::string folder_of(const std::string& path);

/// A file that is whole and on the disk, but not yet under its own name. Must be committed or
/// dropped.
class StagedFile {
 public:
  /// Writes `bytes` to a new file beside `path`, with this mode and owner, and syncs it. On failure
  /// nothing is left behind. An owner that may not be set is let be: `owner_kept` tells.
  static Expected<StagedFile> write(FileCalls& disk, const std::string& path,
                                    std::string_view bytes, const FileStatus& like);

  /// Renames to the final name and syncs the folder. Fails only when the final name was not
  /// touched. The text is a warning to pass on (folder not synced); empty = all well, or a
  /// system that never promises it.
  Expected<std::string> commit();
  void drop();
  bool owner_kept() const { return owner_kept_; }

 private:
  StagedFile(FileCalls& disk, std::string path, std::string staged)
      : disk_(&disk), path_(std::move(path)), staged_(std::move(staged)) {}

  FileCalls* disk_;
  std::string path_;
  std::string staged_;
  bool owner_kept_ = true;
};

}  // namespace pivotrace

// Reading and replacing files as wholes: never a half-written one under its own name.
#pragma once

#include <string>

#include "disk/file_calls.h"
#include "pivotrace/base/problem.h"

namespace pivotrace {

/// Folder part of a path ("." when it has none) and the name after it.
std::string folder_of(const std::string& path);
std::string name_of(const std::string& path);

/// Every byte of a regular file of at most `limit` bytes. P601, P603, P604.
Expected<std::string> read_whole(FileCalls& calls, const std::string& path, std::size_t limit);

/// The problem behind errno, in words: what was tried, on which file, what to do.
Problem write_problem(const std::string& tried, const std::string& path, int error);

/// A complete file under a temporary name, on the disk, not yet under its own name.
/// Must be committed or dropped.
class StagedFile {
 public:
  /// Writes `bytes` to a new file beside `path`, with this mode and owner, and syncs it. On failure
  /// nothing is left behind. An owner that may not be set is let be: `owner_kept` tells.
  static Expected<StagedFile> write(FileCalls& calls, const std::string& path,
                                    const std::string& bytes, const FileStatus& like);

  /// Renames to the final name and syncs the folder. Fails only when the final name was not
  /// touched. The text is a warning to pass on (folder not synced); empty = all well.
  Expected<std::string> commit();
  void drop();
  bool owner_kept() const { return owner_kept_; }

 private:
  StagedFile(FileCalls& calls, std::string path, std::string staged)
      : calls_(&calls), path_(std::move(path)), staged_(std::move(staged)) {}

  FileCalls* calls_;
  std::string path_;
  std::string staged_;
  bool owner_kept_ = true;
};

}  // namespace pivotrace

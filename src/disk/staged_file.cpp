#include "disk/staged_file.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>

#include "base/words.h"
#include "disk/disk_problems.h"
#include "disk/open_file.h"

namespace pivotrace {

int write_all(FileCalls& disk, int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t count = disk.write(file, bytes.data(), bytes.size());
    if (count < 0 && errno == EINTR) continue;
    // POSIX lets write() return 0 only when nothing fits any more.
    if (count == 0) errno = ENOSPC;
    if (count <= 0) return -1;
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return 0;
}

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

Expected<StagedFile> StagedFile::write(FileCalls& disk, const std::string& path,
                                       std::string_view bytes, const FileStatus& like) {
  const std::string staged =
      fmt::format("{}/.{}.pivotrace-{}", folder_of(path), base_name(path), ::getpid());
  // A leftover of a killed run that had this process number is nobody's any more.
  disk.remove(staged);
  constexpr unsigned private_mode = 0600;
  OpenFile file(disk, disk.create_new(staged, private_mode));
  if (!file.is_open()) {
    return failure(write_problem("making a new file beside this one", path, errno));
  }
  StagedFile result(disk, path, staged);
  const auto give_up = [&](const char* tried) -> Expected<StagedFile> {
    const int error = errno;
    if (file.is_open()) file.close();
    result.drop();
    return failure(write_problem(tried, path, error));
  };
  if (write_all(disk, file.number(), bytes) != 0) return give_up("writing");
  result.owner_kept_ = disk.change_owner(file.number(), like.owner, like.group) == 0;
  // After the owner: changing the owner may clear mode bits.
  if (disk.change_mode(file.number(), like.mode) != 0) return give_up("setting the permissions");
  if (disk.sync(file.number()) != 0) return give_up("writing to the disk");
  if (file.close() != 0) return give_up("closing the new file");
  return result;
}

Expected<std::string> StagedFile::commit() {
  if (disk_->rename(staged_, path_) != 0) {
    const int error = errno;
    drop();
    return failure(write_problem("putting the new file in place", path_, error));
  }
  if (!disk_->syncs_folders()) return std::string();
  const OpenFile folder(*disk_, disk_->open_folder(folder_of(path_)));
  if (folder.is_open() && disk_->sync(folder.number()) == 0) return std::string();
  return fmt::format(
      "{} is in place, but the folder could not be synced: after a power cut it may be the old "
      "file again. Verify it before use.",
      path_);
}

void StagedFile::drop() { disk_->remove(staged_); }

}  // namespace pivotrace

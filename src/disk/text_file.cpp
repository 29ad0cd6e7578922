#include "pivotrace/disk/text_file.h"

#include <fmt/format.h>
#include <sha256.h>

#include <array>
#include <cerrno>

#include "disk/disk_problems.h"
#include "disk/open_file.h"
#include "disk/staged_file.h"
#include "pivotrace/disk/file_name.h"

namespace pivotrace {

namespace {

constexpr std::size_t first_chunk_bytes = 65536;

Problem size_problem(const std::string& path, std::size_t limit_bytes) {
  return {ProblemNumber::too_large,
          fmt::format("this file is larger than {} MiB, the most that is read here",
                      limit_bytes / (std::size_t{1024} * 1024)),
          {path, 0, 0},
          "check that it is the file you meant; split a longer record into several"};
}

Expected<FileStatus> status_to_read(const std::string& path, FileCalls& disk) {
  FileStatus status;
  if (disk.status(path, status) != 0) return failure(read_problem(path, errno));
  if (status.directory) return failure(read_problem(path, EISDIR));
  return status;
}

Expected<std::string> read_bytes(const std::string& path, FileCalls& disk, const FileStatus& status,
                                 std::size_t limit_bytes) {
  if (status.regular && status.size > limit_bytes) return failure(size_problem(path, limit_bytes));
  const OpenFile file(disk, disk.open_to_read(path));
  if (!file.is_open()) return failure(read_problem(path, errno));
  // Pipes state no size, and a file may grow while it is read: so the limit is watched all along.
  std::string bytes;
  bytes.resize(status.regular ? status.size + 1 : first_chunk_bytes);
  std::size_t used = 0;
  while (true) {
    if (used == bytes.size()) bytes.resize(2 * bytes.size());
    const ssize_t got = disk.read(file.number(), bytes.data() + used, bytes.size() - used);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return failure(read_problem(path, errno));
    if (got == 0) break;
    used += static_cast<std::size_t>(got);
    if (used > limit_bytes) return failure(size_problem(path, limit_bytes));
  }
  bytes.resize(used);
  return bytes;
}

/// Devices and pipes have no old content to protect and cannot be renamed onto.
Expected<void> write_directly(const std::string& path, std::string_view bytes, FileCalls& disk) {
  OpenFile file(disk, disk.open_to_write(path));
  if (!file.is_open()) return failure(write_problem("opening it", path, errno));
  const bool done = write_all(disk, file.number(), bytes) == 0 && file.close() == 0;
  if (!done) return failure(write_problem("writing", path, errno));
  return {};
}

Expected<void> replace(const std::string& path, std::string_view bytes, const FileStatus& like,
                       FileCalls& disk) {
  Expected<StagedFile> staged = StagedFile::write(disk, path, bytes, like);
  if (!staged) return tl::make_unexpected(staged.error());
  // What a folder that was not synced may lose at a power cut can be made anew by the same command.
  return staged->commit().map([](const std::string&) {});
}

}  // namespace

Expected<std::string> read_file(const std::string& path, FileCalls& disk, std::size_t limit_bytes) {
  return status_to_read(path, disk).and_then([&](const FileStatus& status) {
    return read_bytes(path, disk, status, limit_bytes);
  });
}

Expected<std::string> read_regular_file(const std::string& path, FileCalls& disk,
                                        std::size_t limit_bytes) {
  const Expected<FileStatus> status = status_to_read(path, disk);
  if (!status) return tl::make_unexpected(status.error());
  if (!status->regular) {
    return failure({ProblemNumber::cannot_read,
                    "this is a device or a pipe, not a file",
                    {path, 0, 0},
                    "name a text file"});
  }
  return read_bytes(path, disk, *status, limit_bytes);
}

Expected<void> write_file(const std::string& path, std::string_view bytes, FileCalls& disk) {
  FileStatus status;
  if (disk.status(path, status) != 0) {
    if (errno != ENOENT) return failure(write_problem("looking at it", path, errno));
    status.mode = disk.usual_mode();
    status.owner = status.group = same_owner;
    return replace(path, bytes, status, disk);
  }
  if (status.directory) return failure(write_problem("writing", path, EISDIR));
  if (!status.regular) return write_directly(path, bytes, disk);
  // A read-only file is a wish not to change it; renaming over it would ignore that wish.
  if (disk.may_write(path) != 0) return failure(write_problem("opening it", path, errno));
  // Renaming onto a symbolic link would replace the link itself.
  std::string real;
  if (disk.real_path(path, real) != 0) return failure(write_problem("looking at it", path, errno));
  return replace(real, bytes, status, disk);
}

Expected<std::string> find_in_folders(const std::string& name,
                                      const std::vector<std::string>& folders, FileCalls& disk) {
  for (const std::string& folder : folders) {
    const std::string path = name_of(path_of(folder) / path_of(name));
    FileStatus status;
    const bool found = disk.status(path, status) == 0;
    if (found && status.regular) return path;
    // Going on to the next folder would take another file than the one that is wanted.
    if (!found && errno != ENOENT && errno != ENOTDIR) return failure(read_problem(path, errno));
  }
  return std::string();
}

Expected<std::string> seen_from(const std::string& file, const std::string& from_file,
                                FileCalls& disk) {
  std::string real_file;
  if (disk.real_path(file, real_file) != 0) return failure(read_problem(file, errno));
  std::string real_folder;
  if (disk.real_path(folder_of(from_file), real_folder) != 0) {
    return failure(write_problem("looking at its folder", from_file, errno));
  }
  return name_of(path_of(real_file).lexically_relative(path_of(real_folder)));
}

std::string sha256_hex(std::string_view bytes) {
  SHA2_CTX state;
  std::array<std::uint8_t, SHA256_DIGEST_LENGTH> digest{};
  ::SHA256Init(&state);
  ::SHA256Update(&state, reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
  ::SHA256Final(digest.data(), &state);
  std::string hex;
  for (const unsigned char byte : digest) hex += fmt::format("{:02x}", byte);
  return hex;
}

}  // namespace pivotrace

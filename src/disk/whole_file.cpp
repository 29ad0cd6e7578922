#include "disk/whole_file.h"

#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>

namespace pivotrace {

namespace {

constexpr std::size_t chunk_bytes = 1U << 16U;

std::string advice_for(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT: return "the disk is full: make room and run it again; the file is as it was";
    case EACCES:
    case EPERM: return "you may not write there: ask whoever looks after this computer";
    case EROFS: return "this disk is mounted read-only";
    case ENOENT: return "check the name and the folder";
    default: return "the file is as it was; check the disk and run it again";
  }
}

std::string words_of(int error) { return std::generic_category().message(error); }

Problem read_problem(const std::string& path, int error) {
  return {ProblemNumber::cannot_read,
          fmt::format("this file cannot be read: {}", words_of(error)),
          {path, 0, 0},
          "check the name and that you may read it"};
}

Expected<bool> write_all(FileCalls& calls, int file, const std::string& bytes,
                         const std::string& path) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t count = calls.write(file, bytes.data() + done, bytes.size() - done);
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) {
      // POSIX lets write() return 0 only when nothing fits any more.
      return failure(write_problem("writing", path, count < 0 ? errno : ENOSPC));
    }
    done += static_cast<std::size_t>(count);
  }
  return true;
}

}  // namespace

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

std::string name_of(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

Problem write_problem(const std::string& tried, const std::string& path, int error) {
  return {ProblemNumber::cannot_write,
          fmt::format("{} failed: {}", tried, words_of(error)),
          {path, 0, 0},
          advice_for(error)};
}

Expected<std::string> read_whole(FileCalls& calls, const std::string& path, std::size_t limit) {
  FileStatus status;
  if (calls.status(path, status) != 0) return failure(read_problem(path, errno));
  if (status.directory) {
    return failure({ProblemNumber::is_directory,
                    "this is a folder, not a file",
                    {path, 0, 0},
                    "name the file in it"});
  }
  if (!status.regular) {
    return failure({ProblemNumber::cannot_read,
                    "this is a device or a pipe, not a file",
                    {path, 0, 0},
                    "name a text file"});
  }
  const int file = calls.open_to_read(path);
  if (file < 0) return failure(read_problem(path, errno));
  std::string bytes;
  std::array<char, chunk_bytes> chunk{};
  for (;;) {
    const ssize_t count = calls.read(file, chunk.data(), chunk.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) {
      const int error = errno;
      calls.close(file);
      return failure(read_problem(path, error));
    }
    if (count == 0) break;
    bytes.append(chunk.data(), static_cast<std::size_t>(count));
    if (bytes.size() > limit) break;
  }
  calls.close(file);
  if (bytes.size() > limit) {
    return failure({ProblemNumber::too_large,
                    fmt::format("this file is larger than {} MB", limit >> 20U),
                    {path, 0, 0},
                    "name a post or a parameter list; none is that long"});
  }
  return bytes;
}

Expected<StagedFile> StagedFile::write(FileCalls& calls, const std::string& path,
                                       const std::string& bytes, const FileStatus& like) {
  const std::string staged =
      fmt::format("{}/.{}.pivotrace-{}", folder_of(path), name_of(path), ::getpid());
  // A leftover of a killed run that had this process number is nobody's any more.
  calls.remove(staged);
  constexpr unsigned private_mode = 0600;
  const int file = calls.create_new(staged, private_mode);
  if (file < 0) return failure(write_problem("making a new file beside this one", path, errno));
  StagedFile result(calls, path, staged);
  const auto give_up = [&](Problems problems) -> Expected<StagedFile> {
    calls.close(file);
    result.drop();
    return tl::make_unexpected(std::move(problems));
  };
  const Expected<bool> written = write_all(calls, file, bytes, path);
  if (!written) return give_up(written.error());
  result.owner_kept_ = calls.change_owner(file, like.owner, like.group) == 0;
  // After the owner: changing the owner may clear mode bits.
  if (calls.change_mode(file, like.mode) != 0) {
    return give_up({write_problem("setting the permissions", path, errno)});
  }
  if (calls.sync(file) != 0) return give_up({write_problem("writing to the disk", path, errno)});
  if (calls.close(file) != 0) {
    const int error = errno;
    result.drop();
    return failure(write_problem("closing the new file", path, error));
  }
  return result;
}

Expected<std::string> StagedFile::commit() {
  if (calls_->rename(staged_, path_) != 0) {
    const int error = errno;
    drop();
    return failure(write_problem("putting the new file in place", path_, error));
  }
  const int folder = calls_->open_folder(folder_of(path_));
  const bool synced = folder >= 0 && calls_->sync(folder) == 0;
  if (folder >= 0) calls_->close(folder);
  if (synced) return std::string();
  return fmt::format(
      "{} is in place, but the folder could not be synced: after a power cut it may be the old "
      "file again. Verify it before use.",
      path_);
}

void StagedFile::drop() { calls_->remove(staged_); }

}  // namespace pivotrace

#include "pivotrace/disk/text_file.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/sha.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <system_error>

namespace pivotrace {

namespace {

/// A file descriptor that closes itself.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;

  bool is_open() const { return number_ >= 0; }
  int number() const { return number_; }
  /// Closes now, so that the caller hears of errors that only show on closing (full disk, network).
  bool close() {
    const int result = ::close(number_);
    number_ = -1;
    return result == 0;
  }

 private:
  int number_;
};

std::string system_reason(int error) { return std::generic_category().message(error); }

Problem directory_problem(const std::string& path) {
  return {ProblemNumber::is_directory,
          "this is a folder, not a file",
          {path, 0, 0},
          "name a file inside it"};
}

Problem read_problem(const std::string& path, int error) {
  if (error == EISDIR) return directory_problem(path);
  Problem problem{ProblemNumber::cannot_read, "", {path, 0, 0}, ""};
  if (error == ENOENT || error == ENOTDIR) {
    problem.what = "there is no such file";
    problem.advice = "check the spelling of the name and the folder you are in";
  } else if (error == EACCES || error == EPERM) {
    problem.what = "this file may not be read: " + system_reason(error);
    problem.advice = "ask for permission to read it, or copy it to a place of your own";
  } else {
    problem.what = "this file cannot be read: " + system_reason(error);
    problem.advice = "check the disk or network drive it lies on";
  }
  return problem;
}

Problem size_problem(const std::string& path, std::size_t limit_bytes) {
  return {ProblemNumber::too_large,
          fmt::format("this file is larger than {} MiB, the most that is read here",
                      limit_bytes / (std::size_t{1024} * 1024)),
          {path, 0, 0},
          "check that it is the file you meant; split a longer record into several"};
}

Problem write_problem(const std::string& path, int error) {
  if (error == EISDIR) return directory_problem(path);
  return {ProblemNumber::cannot_write,
          "this file cannot be written: " + system_reason(error),
          {path, 0, 0},
          "check that the folder exists, that you may write there and that the disk is not full"};
}

bool write_all(int descriptor, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

/// Devices and pipes have no old content to protect and cannot be renamed onto.
Expected<void> write_directly(const std::string& path, std::string_view bytes) {
  Descriptor file(::open(path.c_str(), O_WRONLY | O_CLOEXEC));
  if (!file.is_open() || !write_all(file.number(), bytes) || !file.close()) {
    return failure(write_problem(path, errno));
  }
  return {};
}

/// Permissions the new file gets: those of the file it replaces, or the user's usual ones.
mode_t wanted_mode(const struct stat* existing) {
  if (existing != nullptr) return existing->st_mode & 07777U;
  const mode_t mask = ::umask(0);
  ::umask(mask);
  return 0666U & ~mask;
}

/// Where the bytes really belong: renaming onto a symbolic link would replace the link itself.
std::string link_target(const std::string& path) {
  std::error_code error;
  const std::filesystem::path target = std::filesystem::weakly_canonical(path, error);
  return error ? path : target.string();
}

Expected<void> write_and_rename(const std::string& path, std::string_view bytes, mode_t mode) {
  const std::string target = link_target(path);
  std::string temporary = target + ".part-XXXXXX";
  Descriptor file(::mkstemp(temporary.data()));
  if (!file.is_open()) return failure(write_problem(path, errno));
  const bool done = write_all(file.number(), bytes) && ::fchmod(file.number(), mode) == 0 &&
                    ::fsync(file.number()) == 0 && file.close() &&
                    ::rename(temporary.c_str(), target.c_str()) == 0;
  if (done) return {};
  const int error = errno;
  ::unlink(temporary.c_str());
  return failure(write_problem(path, error));
}

}  // namespace

Expected<std::string> read_file(const std::string& path, std::size_t limit_bytes) {
  const Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return failure(read_problem(path, errno));
  struct stat info {};
  if (::fstat(file.number(), &info) != 0) return failure(read_problem(path, errno));
  if (S_ISDIR(info.st_mode)) return failure(directory_problem(path));
  const auto stated_size = static_cast<std::size_t>(info.st_size);
  if (S_ISREG(info.st_mode) && stated_size > limit_bytes) {
    return failure(size_problem(path, limit_bytes));
  }
  // Pipes state no size, and a file may grow while it is read: so the limit is watched all along.
  std::string bytes;
  bytes.resize(S_ISREG(info.st_mode) ? stated_size + 1 : 65536);
  std::size_t used = 0;
  while (true) {
    if (used == bytes.size()) bytes.resize(2 * bytes.size());
    const ssize_t got = ::read(file.number(), bytes.data() + used, bytes.size() - used);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return failure(read_problem(path, errno));
    if (got == 0) break;
    used += static_cast<std::size_t>(got);
    if (used > limit_bytes) return failure(size_problem(path, limit_bytes));
  }
  bytes.resize(used);
  return bytes;
}

Expected<void> write_file(const std::string& path, std::string_view bytes) {
  struct stat info {};
  const bool exists = ::stat(path.c_str(), &info) == 0;
  if (exists && S_ISDIR(info.st_mode)) return failure(directory_problem(path));
  if (exists && !S_ISREG(info.st_mode)) return write_directly(path, bytes);
  // A read-only file is a wish not to change it; renaming over it would ignore that wish.
  if (exists && ::access(path.c_str(), W_OK) != 0) return failure(write_problem(path, errno));
  return write_and_rename(path, bytes, wanted_mode(exists ? &info : nullptr));
}

std::string sha256_hex(std::string_view bytes) {
  std::array<unsigned char, SHA256_DIGEST_LENGTH> digest{};
  ::SHA256(reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), digest.data());
  std::string hex;
  for (const unsigned char byte : digest) hex += fmt::format("{:02x}", byte);
  return hex;
}

Expected<std::string> sha256_of_file(const std::string& path) {
  return read_file(path).map([](const std::string& bytes) { return sha256_hex(bytes); });
}

}  // namespace pivotrace

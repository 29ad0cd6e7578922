#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <memory>

#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

namespace {

class SystemFileCalls final : public FileCalls {
 public:
  int real_path(const std::string& path, std::string& real) override {
    const std::unique_ptr<char, decltype(&std::free)> found(::realpath(path.c_str(), nullptr),
                                                            &std::free);
    if (!found) return -1;
    real = found.get();
    return 0;
  }
  int program(std::string& path) override { return real_path("/proc/self/exe", path); }
  int status(const std::string& path, FileStatus& status) override {
    struct stat found {};
    if (::stat(path.c_str(), &found) != 0) return -1;
    status.regular = S_ISREG(found.st_mode);
    status.directory = S_ISDIR(found.st_mode);
    status.mode = found.st_mode & 07777U;
    status.owner = found.st_uid;
    status.group = found.st_gid;
    status.links = found.st_nlink;
    status.size = static_cast<std::size_t>(found.st_size);
    return 0;
  }
  int may_write(const std::string& path) override { return ::access(path.c_str(), W_OK); }
  int open_to_read(const std::string& path) override {
    return ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  }
  int open_to_write(const std::string& path) override {
    return ::open(path.c_str(), O_WRONLY | O_CLOEXEC);
  }
  int create_new(const std::string& path, unsigned mode) override {
    return ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);
  }
  int open_folder(const std::string& path) override {
    return ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  }
  ssize_t read(int file, char* to, std::size_t count) override { return ::read(file, to, count); }
  ssize_t write(int file, const char* from, std::size_t count) override {
    return ::write(file, from, count);
  }
  int change_owner(int file, unsigned owner, unsigned group) override {
    return ::fchown(file, owner, group);
  }
  int change_mode(int file, unsigned mode) override { return ::fchmod(file, mode); }
  int sync(int file) override { return ::fsync(file); }
  int close(int file) override { return ::close(file); }
  int rename(const std::string& from, const std::string& to) override {
    return ::rename(from.c_str(), to.c_str());
  }
  int remove(const std::string& path) override { return ::unlink(path.c_str()); }
  unsigned usual_mode() override {
    const mode_t mask = ::umask(0);
    ::umask(mask);
    return 0666U & ~mask;
  }
};

}  // namespace

FileCalls& system_file_calls() {
  static SystemFileCalls calls;
  return calls;
}

}  // namespace pivotrace

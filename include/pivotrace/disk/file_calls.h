// The system calls that touch a file, behind one interface: the only way to the disk. So a test can
// make any of them fail, or "kill" the program at it, and look at what is left on the disk.
#pragma once

#include <sys/types.h>

#include <cstddef>
#include <string>

namespace pivotrace {

/// For change_owner: leave it as it is, (uid_t)-1 of POSIX.
inline constexpr unsigned same_owner = ~0U;

struct FileStatus {
  bool regular = false;
  bool directory = false;
  unsigned mode = 0;  ///< permission bits
  unsigned owner = 0;
  unsigned group = 0;
  unsigned long links = 1;
  std::size_t size = 0;
};

/// Each call does what the POSIX function of its name does: 0 or a count on success, -1 and errno
/// on failure (POSIX.1-2008). Names are UTF-8; those it gives are written with '/'. On Windows a file has
/// no owner to set and its mode knows read-only alone; a new file that takes the place of another takes
/// over who may use it, where this user may say so.
class FileCalls {
 public:
  virtual ~FileCalls() = default;
  virtual int real_path(const std::string& path, std::string& real) = 0;
  virtual int program(std::string& path) = 0;  ///< where the running program lies
  virtual int status(const std::string& path, FileStatus& status) = 0;
  virtual int may_write(const std::string& path) = 0;  ///< access() with W_OK
  virtual int open_to_read(const std::string& path) = 0;
  virtual int open_to_write(const std::string& path) = 0;              ///< what exists; not emptied
  virtual int create_new(const std::string& path, unsigned mode) = 0;  ///< O_CREAT | O_EXCL
  virtual int open_folder(const std::string& path) = 0;
  virtual ssize_t read(int file, char* to, std::size_t count) = 0;
  virtual ssize_t write(int file, const char* from, std::size_t count) = 0;
  virtual int change_owner(int file, unsigned owner, unsigned group) = 0;
  virtual int change_mode(int file, unsigned mode) = 0;
  virtual int sync(int file) = 0;
  /// Whether sync() of a folder makes new names in it outlive a power cut. Windows has nothing that
  /// promises it: there folders cannot be opened.
  virtual bool syncs_folders() const { return true; }
  virtual int close(int file) = 0;
  virtual int rename(const std::string& from, const std::string& to) = 0;
  virtual int remove(const std::string& path) = 0;
  /// Permission bits a new file of this user gets: 0666 without the umask. Cannot fail.
  virtual unsigned usual_mode() = 0;
};

/// The calls of the operating system.
FileCalls& system_file_calls();

}  // namespace pivotrace

// A disk in memory that can fail or die at any system call, and that forgets at a power cut what
// was not synced: file contents until fsync of the file, names until fsync of the folder.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "pivotrace/disk/file_calls.h"

namespace pivotrace::testing {

/// Thrown in place of the death of the process.
struct Killed {};

enum class Fault { none, fail, kill };

/// What is left after the process died.
enum class Aftermath {
  process_killed,        ///< the kernel still holds everything
  power_cut,             ///< only what was synced
  power_cut_names_kept,  ///< contents only as synced, but renames had reached the disk by themselves
};

class CrashDisk final : public FileCalls {
 public:
  void add_file(const std::string& path, const std::string& bytes, unsigned mode = 0644);
  void add_folder(const std::string& path) { folder_ = path; }

  Fault fault = Fault::none;
  int fault_at = 0;  ///< 1 = the first call
  int error = 5;     ///< errno of a failing call
  std::size_t most_per_write = 1U << 30U;
  int calls_made() const { return calls_; }

  bool is_dead() const { return dead_; }
  void die(Aftermath aftermath);
  bool exists(const std::string& path) const { return names_.count(path) != 0; }
  std::string content(const std::string& path) const;
  unsigned mode(const std::string& path) const;
  std::vector<std::string> names() const;

  int real_path(const std::string& path, std::string& real) override;
  int program(std::string& path) override;
  int status(const std::string& path, FileStatus& status) override;
  int may_write(const std::string& path) override;
  int open_to_read(const std::string& path) override;
  int open_to_write(const std::string& path) override;
  int create_new(const std::string& path, unsigned mode) override;
  int open_folder(const std::string& path) override;
  ssize_t read(int file, char* to, std::size_t count) override;
  ssize_t write(int file, const char* from, std::size_t count) override;
  int change_owner(int file, unsigned owner, unsigned group) override;
  int change_mode(int file, unsigned mode) override;
  int sync(int file) override;
  int close(int file) override;
  int rename(const std::string& from, const std::string& to) override;
  int remove(const std::string& path) override;
  unsigned usual_mode() override { return 0644; }

 private:
  struct Node {
    std::string bytes;
    std::string synced;
    unsigned mode = 0644;
  };
  struct Open {
    int node = -1;  ///< -1 = the folder
    std::size_t at = 0;
  };
  /// Counts a call; true when it must fail.
  bool fails();

  std::string folder_;
  std::map<int, Node> nodes_;
  std::map<std::string, int> names_;
  std::map<std::string, int> synced_names_;
  std::map<int, Open> open_;
  int next_ = 10;
  int calls_ = 0;
  bool dead_ = false;
};

}  // namespace pivotrace::testing

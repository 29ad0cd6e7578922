// A file number that closes itself.
#pragma once

#include <string_view>

#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

class OpenFile {
 public:
  OpenFile(FileCalls& disk, int number) : disk_(&disk), number_(number) {}
  ~OpenFile() {
    if (is_open()) disk_->close(number_);
  }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;

  bool is_open() const { return number_ >= 0; }
  int number() const { return number_; }

  /// Closes now, so that the caller hears of errors that only show on closing (full disk, network).
  int close() {
    const int closing = number_;
    number_ = -1;
    return disk_->close(closing);
  }

 private:
  FileCalls* disk_;
  int number_;
};

/// Every byte, however many calls it takes: 0, or -1 and errno.
int write_all(FileCalls& disk, int file, std::string_view bytes);

}  // namespace pivotrace

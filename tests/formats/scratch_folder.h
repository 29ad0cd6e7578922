// A folder of its own that disappears with the test.
#pragma once

#include <doctest/doctest.h>

#include <cstdlib>
#include <filesystem>
#include <string>

namespace pivotrace::test {

class ScratchFolder {
 public:
  ScratchFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "pivotrace-XXXXXX").string();
    REQUIRE(::mkdtemp(pattern.data()) != nullptr);
    path_ = pattern;
  }
  ~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;

  std::string file(const std::string& name) const { return path_ + "/" + name; }
  std::size_t file_count() const {
    std::size_t count = 0;
    for ([[maybe_unused]] const auto& entry : std::filesystem::directory_iterator(path_)) ++count;
    return count;
  }

 private:
  std::string path_;
};

}  // namespace pivotrace::test

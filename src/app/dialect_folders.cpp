#include "app/dialect_folders.h"

#include <cstdlib>
#include <filesystem>

namespace pivotrace::app {

namespace fs = std::filesystem;

std::vector<std::string> dialect_folders() {
  std::vector<std::string> folders;
  const char* config = std::getenv("XDG_CONFIG_HOME");
  const char* home = std::getenv("HOME");
  if (config != nullptr && *config != '\0') {
    folders.push_back((fs::path(config) / "pivotrace" / "routines").string());
  } else if (home != nullptr && *home != '\0') {
    folders.push_back((fs::path(home) / ".config" / "pivotrace" / "routines").string());
  }
  std::error_code failed;
  const fs::path program = fs::read_symlink("/proc/self/exe", failed);
  if (!failed) {
    folders.push_back((program.parent_path() / "routines").string());
    folders.push_back(
        (program.parent_path().parent_path() / "share" / "pivotrace" / "routines").string());
  }
  return folders;
}

}  // namespace pivotrace::app

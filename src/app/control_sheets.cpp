#include "app/control_sheets.h"

#include <algorithm>
#include <cstdlib>
#include <filesystem>

#include "pivotrace/formats/control_sheet_file.h"

namespace pivotrace::app {

namespace fs = std::filesystem;

std::vector<std::string> control_sheet_folders(FileCalls& disk) {
  std::vector<std::string> folders;
  const char* config = std::getenv("XDG_CONFIG_HOME");
  const char* home = std::getenv("HOME");
  if (config != nullptr && *config != '\0') {
    folders.push_back((fs::path(config) / "pivotrace" / "routines").string());
  } else if (home != nullptr && *home != '\0') {
    folders.push_back((fs::path(home) / ".config" / "pivotrace" / "routines").string());
  }
  std::string program;
  if (disk.real_path("/proc/self/exe", program) == 0) {
    const fs::path folder = fs::path(program).parent_path();
    folders.push_back((folder / "routines").string());
    folders.push_back((folder.parent_path() / "share" / "pivotrace" / "routines").string());
  }
  return folders;
}

std::vector<std::string> control_sheet_names(FileCalls& disk) {
  std::vector<std::string> names;
  for (const std::string& folder : control_sheet_folders(disk)) {
    std::vector<std::string> here;
    std::error_code missing;
    for (const auto& entry : fs::directory_iterator(folder, missing)) {
      if (entry.path().extension() == ".toml") here.push_back(entry.path().stem().string());
    }
    std::sort(here.begin(), here.end());
    for (std::string& name : here) {
      if (std::find(names.begin(), names.end(), name) == names.end())
        names.push_back(std::move(name));
    }
  }
  return names;
}

Expected<ControlSheet> named_control_sheet(const std::string& name, FileCalls& disk) {
  return find_control_sheet(name, control_sheet_folders(disk), disk)
      .and_then([&](const std::string& file) { return read_control_sheet(file, disk); });
}

}  // namespace pivotrace::app

#include "app/control_sheets.h"

#include <algorithm>

#include "app/start.h"
#include "base/words.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"

namespace pivotrace::app {

namespace fs = std::filesystem;

namespace {

const SheetText* shipped(const std::string& name) {
  const auto& all = shipped_sheets();
  const auto found = std::find_if(all.begin(), all.end(),
                                  [&name](const SheetText& sheet) { return sheet.name == name; });
  return found == all.end() ? nullptr : &*found;
}

}  // namespace

std::vector<std::string> control_sheet_folders(FileCalls& disk) {
  std::vector<std::string> folders;
  if (const auto settings = settings_folder()) {
    folders.push_back(name_of(path_of(*settings) / "pivotrace" / "routines"));
  }
  std::string program;
  if (disk.program(program) == 0) {
    const fs::path folder = path_of(program).parent_path();
    folders.push_back(name_of(folder / "routines"));
    folders.push_back(name_of(folder.parent_path() / "share" / "pivotrace" / "routines"));
  }
  return folders;
}

std::vector<std::string> control_sheet_names(FileCalls& disk) {
  std::vector<std::string> names;
  const auto add = [&names](const std::string& name) {
    if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
  };
  for (const std::string& folder : control_sheet_folders(disk)) {
    std::vector<std::string> here;
    std::error_code missing;
    for (const auto& entry : fs::directory_iterator(path_of(folder), missing)) {
      if (entry.path().extension() == ".toml") here.push_back(name_of(entry.path().stem()));
    }
    std::sort(here.begin(), here.end());
    std::for_each(here.begin(), here.end(), add);
  }
  for (const SheetText& sheet : shipped_sheets()) add(sheet.name);
  return names;
}

Expected<SheetText> control_sheet_text(const std::string& name, FileCalls& disk) {
  const std::vector<std::string> folders = control_sheet_folders(disk);
  if (const SheetText* sheet = shipped(name)) {
    const Expected<std::string> own = find_in_folders(name + ".toml", folders, disk);
    if (!own) return tl::make_unexpected(own.error());
    if (own->empty()) return *sheet;
  }
  Expected<std::string> found = find_control_sheet(name, folders, disk);
  if (!found) {
    const auto near = nearest_word(name, control_sheet_names(disk));
    if (near) found.error().front().advice = "type: --control " + *near;
  }
  return found.and_then([&](const std::string& file) {
    return read_file(file, disk).map([&](std::string text) {
      return SheetText{file, std::move(text)};
    });
  });
}

Expected<ControlSheet> named_control_sheet(const std::string& name, FileCalls& disk) {
  return control_sheet_text(name, disk).and_then([](const SheetText& sheet) {
    return parse_control_sheet(sheet.text, sheet.name);
  });
}

}  // namespace pivotrace::app

#include "app/demo_files.h"

#include <algorithm>

namespace pivotrace::app {

const std::vector<Demo>& demos() {
  static const std::vector<Demo> all = {
      {"fourth-axis",
       "a mill with a 4th axis, a ball in its chuck",
       {"fourth-axis.", "ball-centres."}},
      {"trunnion", "a cradle that carries a round table", {"trunnion."}},
      {"swivel-head", "a head that swivels, a ball on the table", {"swivel-head."}},
      {"pin-in-chuck", "a 4th axis with a pin in its chuck", {"pin-in-chuck."}},
      {"spoiled", "ten surveys with one fault each", {"fourth-axis.machine.", "spoiled-"}},
      {"year",
       "twelve monthly checks of the 4th axis",
       {"fourth-axis.machine.", "fourth-axis.limits.", "2025-"}}};
  return all;
}

std::vector<CarriedFile> files_of(const Demo& demo) {
  std::vector<CarriedFile> files;
  for (const CarriedFile& file : carried_examples()) {
    if (std::ranges::any_of(demo.beginnings, [&](const std::string& beginning) {
          return file.name.starts_with(beginning);
        })) {
      files.push_back(file);
    }
  }
  std::stable_partition(files.begin(), files.end(), [](const CarriedFile& file) {
    return file.name.ends_with(".machine.toml");
  });
  return files;
}

}  // namespace pivotrace::app

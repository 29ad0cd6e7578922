// manual_run check|update SOURCE_FOLDER SCRATCH_FOLDER PAGE PROGRAM
// Runs every command that the page (README.md, or src/manual/*.md) shows, in an empty folder,
// and compares what the screen says with what the page says, or brings the page up
// to date. PAGE "all" means every page. Exit code 0: as shown, or brought up to date; 1: not as shown.
#include <fmt/format.h>

#include <algorithm>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <sstream>

#include "golden/compare.h"
#include "golden/program.h"
#include "manual/page.h"
#include "manual/shown.h"

namespace fs = std::filesystem;
using namespace pivotrace;

namespace {

/// Where a reader of the manual works, as far as the pages know.
constexpr const char* readers_folder = "/home/you/shop";

std::string text_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

void write_text(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

struct Request {
  bool update = false;
  fs::path source;
  fs::path scratch;
  fs::path program;
};

/// The folder a page is tried in. It is empty, as a reader's who has nothing but the program; README.md is read
/// where the project lies.
class Shop {
 public:
  Shop(const Request& request, const fs::path& folder, bool beside_project)
      : work_(folder / "work"), notes_(folder / "notes") {
    fs::remove_all(folder);
    for (const fs::path& made : {work_, notes_ / "home", notes_ / "bin"}) {
      fs::create_directories(made);
    }
    if (beside_project) {
      for (const char* name : {"examples", "tests"}) {
        fs::create_directory_symlink(request.source / name, work_ / name);
      }
    }
    write_text(notes_ / "bin/pivotrace",
               fmt::format("#!/bin/sh\nexec '{}' \"$@\"\n", request.program.string()));
    fs::permissions(notes_ / "bin/pivotrace", fs::perms::owner_all);
    head_ = fmt::format("PATH='{}':$PATH PIVOTRACE='{}'\nexport PATH PIVOTRACE\ncd '{}'\n",
                        (notes_ / "bin").string(), request.program.string(), work_.string());
    golden::hide_user_settings(notes_ / "home");
  }

  const fs::path& work() const { return work_; }

  void put(const std::string& file, const std::string& content) const {
    write_text(work_ / file, content);
  }

  /// What the screen shows, both streams as they come.
  golden::Said type(const std::string& command) const {
    const fs::path script = notes_ / "command.sh";
    write_text(script, head_ + "exec 2>&1\n" + command);
    golden::Said said = golden::run_program({"/bin/sh"}, {script.string()}, notes_);
    const std::string here = fs::canonical(work_).string();
    for (std::size_t at = said.out.find(here); at != std::string::npos; at = said.out.find(here)) {
      said.out.replace(at, here.size(), readers_folder);
    }
    return said;
  }

 private:
  fs::path work_;
  fs::path notes_;
  std::string head_;
};

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

/// All that is not as the page says; `shown`: what it should show.
std::string try_page(const manual::Page& page, const Shop& shop,
                     std::vector<std::vector<std::string>>& shown) {
  std::string faults;
  for (const manual::PageStep& step : page.steps) {
    if (!step.file.empty()) {
      shop.put(step.file, step.content);
      continue;
    }
    const golden::Said said = shop.type(step.command.text);
    const auto compared = manual::compare_shown(step.command.shown, lines_of(said.out));
    shown.push_back(compared.brought_up_to_date);
    const bool as_promised = said.exit_code == step.command.exit_code;
    if (as_promised && compared.differences.empty()) continue;
    faults += fmt::format("  line {}: $ {}", step.command.shown_from, step.command.text);
    if (!as_promised) {
      faults += fmt::format("    ended with {}, not {}\n", said.exit_code, step.command.exit_code);
    }
    for (std::size_t k = 0; k < std::min<std::size_t>(compared.differences.size(), 12); ++k) {
      faults += compared.differences[k] + '\n';
    }
  }
  return faults;
}

/// A picture in examples/pictures that a command of the page draws again must still look the same.
std::string try_pictures(const Request& request, const Shop& shop) {
  std::string faults;
  for (const auto& entry : fs::directory_iterator(request.source / "examples/pictures")) {
    const fs::path drawn = shop.work() / entry.path().filename();
    if (!fs::exists(drawn)) continue;
    const std::string text = text_of(drawn);
    const auto changes = golden::compare_texts(text_of(entry.path()), text);
    if (changes.empty()) continue;
    faults += fmt::format("  {} is drawn otherwise\n{}", entry.path().string(),
                          golden::describe(changes, 3));
    if (request.update) write_text(entry.path(), text);
  }
  return faults;
}

int run_page(const Request& request, const fs::path& file) {
  const std::string text = text_of(file);
  const auto page = manual::read_page(text);
  if (!page) {
    std::cout << file.string() << ": " << page.error() << '\n';
    return 1;
  }
  std::vector<std::vector<std::string>> shown;
  const Shop shop(request, request.scratch / file.stem(), file.stem() == "README");
  std::string faults = try_page(*page, shop, shown);
  faults += try_pictures(request, shop);  // what the commands drew
  if (faults.empty()) {
    std::cout << file.filename().string() << ": " << shown.size() << " commands as shown\n";
    return 0;
  }
  std::cout << file.string() << ":\n" << faults;
  if (request.update) {
    write_text(file, manual::with_shown(*page, shown));
    std::cout << "  brought up to date\n";
    return 0;
  }
  std::cout << "If this is as it should be: cmake --build --preset dev --target update_manual, "
               "then read\n"
               "the diff (DEVELOPERS.md, The manual).\n";
  return 1;
}

std::vector<fs::path> pages(const fs::path& source, const std::string& which) {
  std::vector<fs::path> all = {source / "README.md"};
  for (const auto& entry : fs::directory_iterator(source / "src/manual")) {
    if (entry.path().extension() == ".md") all.push_back(entry.path());
  }
  std::sort(all.begin(), all.end());
  std::erase_if(all, [&](const fs::path& page) { return which != "all" && page.stem() != which; });
  return all;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> words(argv + 1, argv + argc);
  if (words.size() != 5 || (words[0] != "check" && words[0] != "update")) {
    std::cerr << "usage: manual_run check|update SOURCE SCRATCH PAGE|all PROGRAM\n";
    return 2;
  }
  try {
    const Request request{words[0] == "update", fs::absolute(words[1]), fs::absolute(words[2]),
                          fs::canonical(words[4])};
    int worst = 0;
    for (const fs::path& page : pages(request.source, words[3])) {
      worst = std::max(worst, run_page(request, page));
    }
    return worst;
  } catch (const std::exception& error) {
    std::cerr << "manual_run: " << error.what() << '\n';
    return 2;
  }
}

// A folder with the result of a shipped demo and a copy of its post, as a user would have them.
#pragma once

#include <doctest/doctest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "app/run_verb.h"
#include "formats/file_tests.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/report/finding_words.h"

namespace pivotrace::testing {

using test::example_path;
using test::replaced;

inline std::string slurp(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

inline void spill(const std::filesystem::path& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

inline bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

inline FitResult demo_fit(const std::string& name) {
  const auto machine = read_machine(example_path(name + ".machine.toml"));
  REQUIRE(machine.has_value());
  const auto survey = read_survey(example_path(name + ".touches.csv"), *machine);
  REQUIRE(survey.has_value());
  auto result = fit_survey(*machine, *survey);
  REQUIRE(result.has_value());
  REQUIRE(result->usable);
  result->made = "2026-03-02T09:00:00Z";
  result->simulated = false;  // stands for a survey of a machine: written without a further word
  result->version = "0.1.0";
  const std::string machine_file = example_path(name + ".machine.toml");
  result->inputs = {{"machine", machine_file, sha256_hex(slurp(machine_file))}};
  return *result;
}

/// Folder and file have a blank and letters beyond ASCII in their names.
class Demo {
 public:
  explicit Demo(const std::string& name = "fourth-axis") : result(demo_fit(name)) {
    std::string made =
        (std::filesystem::temp_directory_path() / "pivotrace verbs é XXXXXX").string();
    REQUIRE(::mkdtemp(made.data()) != nullptr);
    folder = made;
    result_file = (folder / "demo.result.json").string();
    post = (folder / "mein Postprozessor für A.txt").string();
    save();
    spill(post, slurp(example_path("fourth-axis.post.txt")));
  }
  Demo(const Demo&) = delete;
  Demo& operator=(const Demo&) = delete;
  ~Demo() {
    std::error_code ignored;
    std::filesystem::permissions(folder, std::filesystem::perms::owner_all, ignored);
    std::filesystem::remove_all(folder, ignored);
  }
  void save() const { spill(result_file, write_result(result, words_of)); }
  std::vector<std::string> patch_words(std::vector<std::string> more = {}) const {
    std::vector<std::string> words = {"write",     result_file,
                                      "--patch",   post,
                                      "--mapping", example_path("fourth-axis.mapping.toml")};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  Screen patch(std::vector<std::string> more = {}) const {
    return run_verb(patch_words(std::move(more)));
  }
  /// Names of what lies in the folder beside the result and the post.
  std::vector<std::string> others() const {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
      if (entry.path() != post && entry.path() != result_file) {
        names.push_back(entry.path().filename().string());
      }
    }
    return names;
  }

  FitResult result;
  std::filesystem::path folder;
  std::string result_file;
  std::string post;
};

/// The shipped control sheet of RS274/NGC.
inline std::string ngc_sheet() { return std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml"; }

/// The words that write a program for a work offset of that control.
inline std::vector<std::string> write_words(const Demo& demo, int work_offset,
                                            std::vector<std::string> more = {}) {
  std::vector<std::string> words = {"write",         demo.result_file,
                                    "--work-offset", std::to_string(work_offset),
                                    "--control",     ngc_sheet()};
  words.insert(words.end(), more.begin(), more.end());
  return words;
}

}  // namespace pivotrace::testing

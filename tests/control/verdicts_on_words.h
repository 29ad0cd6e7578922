// The verdicts on words: what no file or program of the project may hold, and what the page of words lists.
#pragma once

#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace pivotrace::test {

inline const std::filesystem::path& source_folder() {
  static const std::filesystem::path folder = PIVOTRACE_SOURCE_DIR;
  return folder;
}

inline std::string whole_text(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

/// Spelled apart, so that this file does not hold what it looks for.
inline std::vector<std::regex> words_of_one_maker() {
  const auto word = [](const std::string& pattern) {
    return std::regex(pattern, std::regex::icase | std::regex::optimize);
  };
  const auto as_written = [](const std::string& pattern) {
    return std::regex(pattern, std::regex::optimize);
  };
  return {word("DPR"
               "NT"),
          as_written("\\bPO"
                     "PEN\\b"),
          word("\\bPC"
               "LOS\\b"),
          word("BP"
               "RNT"),
          word("#3"
               "000\\b"),
          word("(#|= )40"
               "(0[1-9]|1[0-9])\\b"),
          word("(#|= )50"
               "[24][1-6]\\b"),
          word("\\bG3"
               "1\\b"),
          word("IF *\\[[^\\]\n]*\\] *GO"
               "TO"),
          word("WHI"
               "LE *\\[[^\\]\n]*\\] *DO"),
          word("\\bM1"
               "9 *R"),
          word("^O[0-9]{4}\\b")};
}

/// What stands in backticks in the first column of the tables of one section of src/manual/words.md.
inline std::set<std::string> on_page(const std::string& section) {
  std::istringstream lines(whole_text(source_folder() / "src/manual/words.md"));
  std::set<std::string> found;
  bool inside = false;
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with("## ")) inside = line == "## " + section;
    if (!inside || !line.starts_with("| `")) continue;
    const std::string column = line.substr(2, line.find(" | ", 2) - 2);
    for (std::size_t at = column.find('`'); at != std::string::npos; at = column.find('`', at)) {
      const std::size_t end = column.find('`', at + 1);
      REQUIRE(end != std::string::npos);
      found.insert(column.substr(at + 1, end - at - 1));
      at = end + 1;
    }
  }
  REQUIRE_FALSE(found.empty());
  return found;
}

}  // namespace pivotrace::test

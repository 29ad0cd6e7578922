#include "golden/run_list.h"

#include <fmt/format.h>

#include <charconv>
#include <set>
#include <sstream>
#include <string_view>

namespace pivotrace::golden {

namespace {

constexpr std::string_view arrow = " => ";

/// The words of a command, or nothing when a quotation mark is left open.
tl::expected<std::vector<std::string>, std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  std::string word;
  bool quoted = false;
  bool begun = false;
  for (const char c : text) {
    if (c == '"') {
      quoted = !quoted;
      begun = true;
    } else if (c == ' ' && !quoted) {
      if (begun) words.push_back(std::exchange(word, {}));
      begun = false;
    } else {
      word += c;
      begun = true;
    }
  }
  if (quoted) return tl::make_unexpected("a quotation mark is left open");
  if (begun) words.push_back(word);
  return words;
}

bool is_name(const std::string& name) {
  constexpr std::string_view allowed = "abcdefghijklmnopqrstuvwxyz0123456789-.";
  return !name.empty() && name.front() != '.' &&
         name.find_first_not_of(allowed) == std::string::npos;
}

class ListReader {
 public:
  tl::expected<std::vector<Run>, std::string> read(const std::string& text) {
    std::istringstream stream(text);
    std::string line;
    for (int number = 1; std::getline(stream, line); ++number) {
      if (line.empty() || line.front() == '#') continue;
      if (const std::string problem = take(line); !problem.empty()) {
        return tl::make_unexpected(fmt::format("line {}: {}", number, problem));
      }
    }
    if (!made_.empty()) return tl::make_unexpected("the last file made is used by no command");
    if (runs_.empty()) return tl::make_unexpected("the list holds no run");
    return std::move(runs_);
  }

 private:
  /// What is wrong with this line; empty: nothing.
  std::string take(const std::string& line) {
    const std::size_t blank = line.find(' ');
    const std::string key = line.substr(0, blank);
    const std::string rest = blank == std::string::npos ? "" : line.substr(blank + 1);
    if (key == "run") return take_run(rest);
    if (key == "$") return take_command(rest);
    if (key == "exit") return take_exit(rest);
    if (key == "make") return take_made(rest);
    if (key == "replace" || key == "append") return take_edit(key, rest);
    return "'" + key + "' is none of run, $, exit, make, replace, append";
  }

  std::string take_run(const std::string& name) {
    if (!is_name(name)) return "a name is made of lower-case letters, digits, '-' and '.'";
    if (!names_.insert(name).second) return "two runs are called " + name;
    runs_.push_back({name, {}});
    return "";
  }

  std::string take_command(const std::string& text) {
    if (runs_.empty()) return "a command before the first run";
    auto words = words_of(text);
    if (!words) return words.error();
    runs_.back().commands.push_back({std::exchange(made_, {}), text, *std::move(words), 0});
    return "";
  }

  std::string take_exit(const std::string& text) {
    if (runs_.empty() || runs_.back().commands.empty()) return "an exit code without a command";
    int& code = runs_.back().commands.back().exit_code;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), code);
    return error == std::errc{} && end == text.data() + text.size() ? "" : "no exit code: " + text;
  }

  std::string take_made(const std::string& text) {
    constexpr std::string_view from = " from ";
    const std::size_t at = text.find(from);
    if (at == std::string::npos) return "write: make FILE from OTHER";
    made_.push_back({text.substr(0, at), text.substr(at + from.size()), {}});
    return "";
  }

  std::string take_edit(const std::string& key, const std::string& text) {
    if (made_.empty()) return key + " without a file that is made";
    if (key == "append") {
      made_.back().edits.push_back({"", text});
      return "";
    }
    const std::size_t at = text.find(arrow);
    if (at == std::string::npos || at == 0) return "write: replace OLD => NEW";
    made_.back().edits.push_back({text.substr(0, at), text.substr(at + arrow.size())});
    return "";
  }

  std::vector<Run> runs_;
  std::vector<MadeFile> made_;
  std::set<std::string> names_;
};

}  // namespace

tl::expected<std::vector<Run>, std::string> read_run_list(const std::string& text) {
  return ListReader().read(text);
}

tl::expected<std::string, std::string> edited(std::string text, const std::vector<Edit>& edits) {
  for (const Edit& edit : edits) {
    if (edit.old_text.empty()) {
      text += edit.new_text + '\n';
      continue;
    }
    const std::size_t at = text.find(edit.old_text);
    if (at == std::string::npos) return tl::make_unexpected("nothing holds: " + edit.old_text);
    text.replace(at, edit.old_text.size(), edit.new_text);
  }
  return text;
}

}  // namespace pivotrace::golden

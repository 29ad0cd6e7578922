#include "control/comments.h"

#include <fmt/format.h>

#include <algorithm>

namespace pivotrace::control {

namespace {

class Splitter {
 public:
  Splitter(const std::string& line, int line_number, const std::string& file,
           const TextRules& rules)
      : line_(line), line_number_(line_number), file_(file), rules_(rules) {
    result_.code = line;
  }

  SplitLine split() {
    if (rules_.comment_open.empty()) return std::move(result_);
    std::size_t at = line_.find(rules_.comment_open);
    while (at != std::string::npos && result_.problems.empty()) {
      at = line_.find(rules_.comment_open, take_comment(at));
    }
    return std::move(result_);
  }

 private:
  /// Returns where the line goes on.
  std::size_t take_comment(std::size_t open) {
    const std::size_t first = open + rules_.comment_open.size();
    if (rules_.comment_close.empty()) return keep(open, first, line_.size(), line_.size());
    const std::size_t close = line_.find(rules_.comment_close, first);
    if (close == std::string::npos) {
      return refuse(open, "the comment that begins here has no end",
                    fmt::format("close it with '{}' in the same line", rules_.comment_close));
    }
    const std::size_t inner = line_.find(rules_.comment_open, first);
    if (inner < close) {
      return refuse(inner, "a comment begins inside a comment", "take out the inner one");
    }
    return keep(open, first, close, close + rules_.comment_close.size());
  }

  std::size_t keep(std::size_t open, std::size_t first, std::size_t last, std::size_t end) {
    result_.comments.push_back({line_.substr(first, last - first), static_cast<int>(first) + 1});
    std::fill(result_.code.begin() + static_cast<std::ptrdiff_t>(open),
              result_.code.begin() + static_cast<std::ptrdiff_t>(end), ' ');
    result_.code[open] = comment_stand_in;
    return end;
  }

  std::size_t refuse(std::size_t at, const std::string& what, const std::string& advice) {
    result_.problems.push_back({ProblemNumber::program_error,
                                what,
                                {file_, line_number_, static_cast<int>(at) + 1},
                                advice});
    return line_.size();
  }

  const std::string& line_;
  int line_number_;
  const std::string& file_;
  const TextRules& rules_;
  SplitLine result_;
};

}  // namespace

SplitLine split_comments(const std::string& line, int line_number, const std::string& file,
                         const TextRules& rules) {
  return Splitter(line, line_number, file, rules).split();
}

}  // namespace pivotrace::control

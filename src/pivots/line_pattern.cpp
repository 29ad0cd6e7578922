#include "pivots/line_pattern.h"

#include <fmt/format.h>
#include <re2/re2.h>

namespace pivotrace {

namespace {

/// Bytes stand for themselves: a line need not be UTF-8, and numbers are ASCII.
re2::RE2::Options bytes_in_silence() {
  re2::RE2::Options options;
  options.set_encoding(re2::RE2::Options::EncodingLatin1);
  options.set_log_errors(false);
  return options;
}

}  // namespace

LinePattern::LinePattern(const std::string& pattern)
    : expression_(std::make_unique<re2::RE2>(pattern, bytes_in_silence())) {}

LinePattern::~LinePattern() = default;

std::string LinePattern::fault() const {
  if (!expression_->ok()) {
    return fmt::format("the pattern is not a regular expression: {}", expression_->error());
  }
  const int captures = expression_->NumberOfCapturingGroups();
  if (captures == 1) return "";
  return fmt::format("the pattern has {} captures, it must have exactly one", captures);
}

Spans LinePattern::captures(const std::string& line, std::size_t most) const {
  Spans spans;
  re2::StringPiece matched[2];
  std::size_t from = 0;
  while (from <= line.size() && spans.size() < most &&
         expression_->Match(line, from, line.size(), re2::RE2::UNANCHORED, matched, 2)) {
    const auto end = static_cast<std::size_t>(matched[0].end() - line.data());
    if (matched[1].data() != nullptr) {
      const auto begin = static_cast<std::size_t>(matched[1].begin() - line.data());
      spans.emplace_back(begin, begin + matched[1].size());
    }
    // A match of nothing must not be found for ever.
    from = matched[0].empty() ? end + 1 : end;
  }
  return spans;
}

}  // namespace pivotrace

#include "formats/emptied_lists.h"

#include <algorithm>

namespace pivotrace::formats {

namespace {

/// Behind the string that begins at `at`.
std::size_t behind_string(std::string_view text, std::size_t at) {
  for (++at; at < text.size() && text[at] != '"'; ++at) {
    if (text[at] == '\\') ++at;
  }
  return std::min(at + 1, text.size());
}

std::size_t behind_blanks(std::string_view text, std::size_t at) {
  return std::min(text.find_first_not_of(" \t\r\n", at), text.size());
}

/// Behind the value in brackets that begins at `at`.
std::size_t behind_brackets(std::string_view text, std::size_t at) {
  int depth = 0;
  while (at < text.size()) {
    const char c = text[at];
    if (c == '"') {
      at = behind_string(text, at);
      continue;
    }
    ++at;
    if (c == '[' || c == '{') ++depth;
    if ((c == ']' || c == '}') && --depth == 0) break;
  }
  return at;
}

}  // namespace

std::string with_emptied_lists(std::string_view text,
                               std::initializer_list<std::string_view> keys) {
  std::string kept;
  kept.reserve(text.size());
  int depth = 0;
  std::size_t copied = 0;
  std::size_t at = 0;
  while (at < text.size()) {
    const char c = text[at];
    if (c != '"') {
      depth += c == '{' || c == '[';
      depth -= c == '}' || c == ']';
      ++at;
      continue;
    }
    const std::size_t end = behind_string(text, at);
    const std::string_view key = text.substr(at + 1, end - at - std::min<std::size_t>(2, end - at));
    at = end;
    if (depth != 1 || std::ranges::find(keys, key) == keys.end()) continue;
    const std::size_t colon = behind_blanks(text, end);
    const std::size_t value = behind_blanks(text, colon + 1);
    if (colon >= text.size() || text[colon] != ':' || value >= text.size() || text[value] != '[') {
      continue;
    }
    at = behind_brackets(text, value);
    if (text[at - 1] != ']') continue;  // it never ends: the reader says so
    kept.append(text.substr(copied, value - copied)).append("[]");
    copied = at;
  }
  return kept.append(text.substr(copied));
}

}  // namespace pivotrace::formats

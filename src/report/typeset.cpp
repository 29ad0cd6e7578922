#include "report/typeset.h"

#include <fmt/format.h>

#include <cctype>

namespace pivotrace::report {

namespace {

bool is_letter_or_digit(char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Whether `word` stands at this place, on its own.
bool stands_at(std::string_view text, std::size_t at, std::string_view word) {
  if (text.substr(at, word.size()) != word) return false;
  const bool begins = at == 0 || !is_letter_or_digit(text[at - 1]);
  const std::size_t after = at + word.size();
  return begins && (after == text.size() || !is_letter_or_digit(text[after]));
}

/// A minus that belongs to a number: not the one inside a date or a name.
bool is_minus(std::string_view text, std::size_t at) {
  if (text[at] != '-' || at + 1 >= text.size() || !is_digit(text[at + 1])) return false;
  return at == 0 || std::string_view(" (=,;:/").find(text[at - 1]) != std::string_view::npos;
}

}  // namespace

std::string typeset(std::string_view text) {
  std::string set;
  for (std::size_t at = 0; at < text.size(); ++at) {
    if (text[at] == '`') continue;
    if (stands_at(text, at, "um")) {
      set += "\xC2\xB5m";
      ++at;
    } else if (text.substr(at, 2) == "+-") {
      set += "\xC2\xB1";
      ++at;
    } else if (is_minus(text, at)) {
      set += "\xE2\x88\x92";
    } else {
      set += text[at];
    }
  }
  return set;
}

std::string sentence(std::string_view text) {
  std::string begun = typeset(text);
  if (!begun.empty()) {
    begun[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(begun[0])));
  }
  return begun;
}

std::string css_string(std::string_view text) {
  std::string safe;
  for (const char c : text) {
    const bool plain = static_cast<unsigned char>(c) >= 0x80 || is_letter_or_digit(c) ||
                       std::string_view(" .,:-_/+()").find(c) != std::string_view::npos;
    safe += plain ? std::string(1, c) : fmt::format("\\{:06x}", static_cast<unsigned char>(c));
  }
  return safe;
}

}  // namespace pivotrace::report

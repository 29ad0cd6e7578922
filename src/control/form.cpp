// Lines with named blanks: written by fill_form, read back by match_form.
#include <cctype>
#include <string_view>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

namespace {

using Blanks = std::map<std::string, std::string>;

/// End of the blank that opens at `form[at]`, or npos when '{' is only a brace.
std::size_t blank_end(std::string_view form, std::size_t at) {
  if (form[at] != '{') return std::string_view::npos;
  const std::size_t end = form.find('}', at);
  if (end == std::string_view::npos || end == at + 1) return std::string_view::npos;
  for (std::size_t i = at + 1; i < end; ++i) {
    if (std::isalpha(static_cast<unsigned char>(form[i])) == 0 && form[i] != '_') {
      return std::string_view::npos;
    }
  }
  return end;
}

bool is_space(char c) { return c == ' ' || c == '\t'; }

bool same_letter(char a, char b, bool case_matters) {
  if (case_matters) return a == b;
  return std::toupper(static_cast<unsigned char>(a)) == std::toupper(static_cast<unsigned char>(b));
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_space(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_space(text.back())) text.remove_suffix(1);
  return text;
}

class FormReader {
 public:
  explicit FormReader(bool case_matters) : case_matters_(case_matters) {}

  bool match(std::string_view form, std::string_view line, Blanks& found) const {
    if (!form.empty() && is_space(form.front())) {
      return match(trimmed_left(form), trimmed_left(line), found);
    }
    if (form.empty()) return trimmed(line).empty();
    const std::size_t end = blank_end(form, 0);
    if (end == std::string_view::npos) return match_literal(form, line, found);
    return match_blank(std::string(form.substr(1, end - 1)), form.substr(end + 1), line, found);
  }

 private:
  static std::string_view trimmed_left(std::string_view text) {
    while (!text.empty() && is_space(text.front())) text.remove_prefix(1);
    return text;
  }

  bool match_literal(std::string_view form, std::string_view line, Blanks& found) const {
    line = trimmed_left(line);
    if (line.empty() || !same_letter(form.front(), line.front(), case_matters_)) return false;
    return match(form.substr(1), line.substr(1), found);
  }

  bool match_blank(const std::string& name, std::string_view rest, std::string_view line,
                   Blanks& found) const {
    for (std::size_t length = 0; length <= line.size(); ++length) {
      Blanks attempt = found;
      const std::string text(trimmed(line.substr(0, length)));
      const auto known = attempt.find(name);
      if (known != attempt.end() && known->second != text) continue;
      attempt[name] = text;
      if (match(rest, line.substr(length), attempt)) {
        found = std::move(attempt);
        return true;
      }
    }
    return false;
  }

  bool case_matters_;
};

}  // namespace

std::string fill_form(const std::string& form, const std::map<std::string, std::string>& values) {
  std::string text;
  for (std::size_t i = 0; i < form.size(); ++i) {
    const std::size_t end = blank_end(form, i);
    if (end != std::string::npos) {
      const auto value = values.find(form.substr(i + 1, end - i - 1));
      if (value != values.end()) {
        text += value->second;
        i = end;
        continue;
      }
    }
    text += form[i];
  }
  return text;
}

std::optional<std::map<std::string, std::string>> match_form(const std::string& form,
                                                             const std::string& line,
                                                             bool case_matters) {
  if (form.empty()) return std::nullopt;
  Blanks found;
  if (!FormReader(case_matters).match(trimmed(form), trimmed(line), found)) return std::nullopt;
  return found;
}

}  // namespace pivotrace

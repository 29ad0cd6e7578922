#include "control/form_reader.h"

#include <cctype>
#include <vector>

namespace pivotrace::control {

namespace {

struct Token {
  bool is_blank = false;
  std::string text;
};

bool is_space(char c) { return std::isspace(static_cast<unsigned char>(c)) != 0; }

std::vector<Token> tokens_of(const std::string& form) {
  std::vector<Token> tokens;
  std::size_t at = 0;
  while (at < form.size()) {
    const std::size_t close = form[at] == '{' ? form.find('}', at) : std::string::npos;
    if (close != std::string::npos) {
      tokens.push_back({true, form.substr(at + 1, close - at - 1)});
      at = close + 1;
      continue;
    }
    if (!is_space(form[at])) {
      if (tokens.empty() || tokens.back().is_blank) tokens.push_back({false, {}});
      tokens.back().text += form[at];
    }
    ++at;
  }
  return tokens;
}

class Matcher {
 public:
  Matcher(const std::vector<Token>& tokens, const std::string& line, int first_column,
          bool case_matters)
      : tokens_(tokens), line_(line), first_column_(first_column), case_matters_(case_matters) {}

  bool match(std::size_t token, std::size_t at) {
    if (token == tokens_.size()) return skip_space(at) == line_.size();
    return tokens_[token].is_blank ? match_blank(token, at) : match_literal(token, at);
  }

  FilledForm filled;

 private:
  std::size_t skip_space(std::size_t at) const {
    while (at < line_.size() && is_space(line_[at])) ++at;
    return at;
  }

  bool same(char a, char b) const {
    if (case_matters_) return a == b;
    return std::toupper(static_cast<unsigned char>(a)) ==
           std::toupper(static_cast<unsigned char>(b));
  }

  bool match_literal(std::size_t token, std::size_t at) {
    for (const char c : tokens_[token].text) {
      at = skip_space(at);
      if (at == line_.size() || !same(line_[at], c)) return false;
      ++at;
    }
    return match(token + 1, at);
  }

  bool match_blank(std::size_t token, std::size_t at) {
    at = skip_space(at);
    for (std::size_t end = at + 1; end <= line_.size(); ++end) {
      if (!match(token + 1, end)) continue;
      std::string text = line_.substr(at, end - at);
      while (!text.empty() && is_space(text.back())) text.pop_back();
      filled[tokens_[token].text] = {text, first_column_ + static_cast<int>(at)};
      return true;
    }
    return false;
  }

  const std::vector<Token>& tokens_;
  const std::string& line_;
  int first_column_;
  bool case_matters_;
};

}  // namespace

std::optional<FilledForm> read_form(const std::string& form, const std::string& line,
                                    int first_column, bool case_matters) {
  if (form.empty()) return std::nullopt;
  const std::vector<Token> tokens = tokens_of(form);
  Matcher matcher(tokens, line, first_column, case_matters);
  if (!matcher.match(0, 0)) return std::nullopt;
  return matcher.filled;
}

}  // namespace pivotrace::control

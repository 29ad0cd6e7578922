#include "control/vocabulary.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <sstream>

#include "base/double_chars.h"

namespace pivotrace::control {

namespace {

/// The number of a G or M word may be this far from a tenth (it may be an expression): NISTIR 6556 asks for
/// "within 0.0001" (from memory).
constexpr double tenth_slack = 0.0001;

bool has_number(const std::string& spelling, double& number) {
  if (spelling.size() < 2 || std::isalpha(static_cast<unsigned char>(spelling[0])) == 0) {
    return false;
  }
  const char* first = spelling.data() + 1;
  const char* last = spelling.data() + spelling.size();
  const auto result = double_from_chars(first, last, number);
  return result.ec == std::errc() && result.ptr == last;
}

/// Nothing when the form is not made of words.
std::optional<WordForm> word_form(const std::string& form) {
  if (form.empty()) return std::nullopt;
  WordForm words;
  std::istringstream stream(form);
  for (std::string token; stream >> token;) {
    if (token == "{axes}") continue;
    if (const std::optional<CodeKey> key = code_key(token)) {
      words.fixed.push_back(*key);
    } else if (token.size() > 3 && token[1] == '{' && token.back() == '}') {
      words.blanks[token.substr(2, token.size() - 3)] = token[0];
    } else {
      return std::nullopt;
    }
  }
  return words;
}

}  // namespace

std::optional<CodeKey> code_key(const std::string& spelling) {
  double number = 0.0;
  if (!has_number(spelling, number)) return std::nullopt;
  return CodeKey{spelling[0], static_cast<int>(std::lround(number * 10.0))};
}

Vocabulary::Vocabulary(const ControlSheet& sheet, const std::vector<std::string>& auxiliary_words)
    : axis_letters_(sheet.axis_letters),
      offset_form_(word_form(sheet.offsets.form)),
      orient_form_(word_form(sheet.spindle.orient_form)) {
  for (const auto& [meaning, spellings] : sheet.words) {
    for (const std::string& spelling : spellings) add(spelling, {meaning, {}});
  }
  for (const std::string& word : auxiliary_words) add(word, {std::nullopt, word});
  const auto longer = [](const auto& a, const auto& b) { return a.first.size() > b.first.size(); };
  std::sort(plain_words_.begin(), plain_words_.end(), longer);
  other_letters_ += feed_letter;
  other_letters_ += sheet.dwell.letter;
  for (const std::optional<WordForm>* form : {&offset_form_, &orient_form_}) {
    if (!*form) continue;
    for (const CodeKey& key : (*form)->fixed) other_letters_ += key.first;
    for (const auto& blank : (*form)->blanks) other_letters_ += blank.second;
  }
}

void Vocabulary::add(const std::string& spelling, const Code& code) {
  if (const std::optional<CodeKey> key = code_key(spelling)) {
    codes_.emplace(*key, code);
    if (!is_code_letter(key->first)) code_letters_ += key->first;
  } else if (code.meaning) {
    plain_words_.emplace_back(spelling, *code.meaning);
  }
}

std::optional<Vocabulary::Code> Vocabulary::code(char letter, double number) const {
  const double tenths = std::round(number * 10.0);
  if (std::fabs(number * 10.0 - tenths) > 10.0 * tenth_slack || std::fabs(tenths) > 1e6) {
    return std::nullopt;
  }
  const auto found = codes_.find({letter, static_cast<int>(tenths)});
  if (found == codes_.end()) return std::nullopt;
  return found->second;
}

bool Vocabulary::is_code_letter(char letter) const {
  return code_letters_.find(letter) != std::string::npos;
}

bool Vocabulary::is_axis_letter(char letter) const {
  return axis_letters_.find(letter) != std::string::npos;
}

bool Vocabulary::is_known_letter(char letter) const {
  return is_code_letter(letter) || is_axis_letter(letter) ||
         other_letters_.find(letter) != std::string::npos;
}

}  // namespace pivotrace::control

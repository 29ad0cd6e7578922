#include "control/source_line.h"

#include <cctype>
#include <utility>

#include "base/double_chars.h"

namespace pivotrace::control {

namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

}  // namespace

SqueezedLine squeeze(const std::string& raw, int first_column, const TextRules& rules) {
  SqueezedLine line;
  bool blank = false;
  for (std::size_t i = 0; i < raw.size(); ++i) {
    const auto c = static_cast<unsigned char>(raw[i]);
    if (std::isspace(c) != 0) {
      blank = true;
      continue;
    }
    line.text += rules.case_matters ? raw[i] : static_cast<char>(std::toupper(c));
    line.column.push_back(first_column + static_cast<int>(i));
    line.blank_before.push_back(std::exchange(blank, false));
  }
  line.column.push_back(first_column + static_cast<int>(raw.size()));
  line.blank_before.push_back(blank);
  return line;
}

char Cursor::take() {
  const char c = peek();
  if (c != '\0') ++position_;
  return c;
}

bool Cursor::stands_here(const std::string& word) const {
  return !failed() && !word.empty() && line_->text.compare(position_, word.size(), word) == 0;
}

bool Cursor::accept(const std::string& word) {
  if (!stands_here(word)) return false;
  position_ += word.size();
  return true;
}

bool Cursor::accept(char letter) {
  if (letter == '\0' || peek() != letter) return false;
  ++position_;
  return true;
}

bool Cursor::continues_with(char c) const {
  return peek() == c && c != '\0' && (blanks_ignored_ || !blank_here());
}

NumberText Cursor::take_number(const NumberRules& rules) {
  const char mark = rules.decimal_mark.empty() ? '.' : rules.decimal_mark.front();
  const int start = column();
  std::string digits;
  if (peek() == '-' || (rules.plus_sign_allowed && peek() == '+')) {
    if (take() == '-') digits += '-';
  }
  NumberText number;
  int count = 0;
  while (continues_with_digit() || (continues_with(mark) && !number.has_mark)) {
    const char c = take();
    if (c == mark) {
      number.has_mark = true;
      if (count == 0) digits += '0';  // from_chars wants a digit before the mark
    } else {
      ++count;
    }
    digits += c == mark ? '.' : c;
  }
  if (count == 0) {
    fail("a number is expected here", "write digits, for example 12.5 or -3");
    return {};
  }
  if (rules.max_digits > 0 && count > rules.max_digits) {
    fail_at(start, "the number has more digits than this control takes", "round it");
  }
  if (rules.exponent_allowed && exponent_here()) digits += take_exponent();
  if (failed()) return {};
  const auto end = double_from_chars(digits.data(), digits.data() + digits.size(), number.value);
  if (end.ec != std::errc()) {
    fail_at(start, "the number is too large or too small", "check its digits");
  }
  return number;
}

bool Cursor::continues_with_digit() const {
  return is_digit(peek()) && (blanks_ignored_ || !blank_here());
}

/// An E that begins an exponent, not a word such as EQ.
bool Cursor::exponent_here() const {
  if (!continues_with('E') || position_ + 1 >= line_->text.size()) return false;
  const char next = line_->text[position_ + 1];
  return is_digit(next) || next == '+' || next == '-';
}

std::string Cursor::take_exponent() {
  std::string text(1, take());
  if (continues_with('-') || continues_with('+')) text += take();
  if (!continues_with_digit()) fail("digits are expected in the exponent", "write it as 1E3");
  while (continues_with_digit()) text += take();
  return text;
}

int Cursor::take_digits() {
  const int start = column();
  long value = 0;
  int count = 0;
  while (count == 0 ? is_digit(peek()) : continues_with_digit()) {
    value = value * 10 + (take() - '0');
    if (++count > 9) {
      fail_at(start, "this whole number is too long", "use nine digits at most");
      return 0;
    }
  }
  if (count == 0) fail("digits are expected here", "write a whole number");
  return static_cast<int>(value);
}

void Cursor::fail(const std::string& what, const std::string& advice) {
  fail_at(column(), what, advice);
}

void Cursor::fail_at(int column, const std::string& what, const std::string& advice) {
  if (failed()) return;
  problems_.push_back({ProblemNumber::program_error, what, {file_, line_number_, column}, advice});
}

}  // namespace pivotrace::control

#include "golden/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdint>

namespace pivotrace::golden {

namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// A piece of a line: a number, or the words between two numbers.
struct Piece {
  std::string_view text;
  bool number = false;
};

std::size_t digits_end(std::string_view line, std::size_t at) {
  while (at < line.size() && is_digit(line[at])) ++at;
  return at;
}

/// Where the number that begins at `at` ends; `at` itself when none begins there.
std::size_t number_end(std::string_view line, std::size_t at) {
  std::size_t end = at;
  // A sign between two digits is a dash (2026-03-02, 3-5), not the sign of the second.
  const bool after_digit = at > 0 && is_digit(line[at - 1]);
  if (!after_digit && end < line.size() && (line[end] == '-' || line[end] == '+')) ++end;
  const std::size_t whole_from = end;
  end = digits_end(line, end);
  bool digits = end > whole_from;
  if (end < line.size() && line[end] == '.') {
    const std::size_t fraction_end = digits_end(line, end + 1);
    if (digits || fraction_end > end + 1) {
      digits = true;
      end = fraction_end;
    }
  }
  if (!digits) return at;
  if (end < line.size() && (line[end] == 'e' || line[end] == 'E')) {
    std::size_t exponent = end + 1;
    if (exponent < line.size() && (line[exponent] == '-' || line[exponent] == '+')) ++exponent;
    const std::size_t exponent_end = digits_end(line, exponent);
    if (exponent_end > exponent) end = exponent_end;
  }
  return end;
}

std::vector<Piece> pieces_of(std::string_view line) {
  std::vector<Piece> pieces;
  std::size_t word_from = 0;
  std::size_t at = 0;
  while (at < line.size()) {
    const std::size_t end = number_end(line, at);
    if (end == at) {
      ++at;
      continue;
    }
    if (at > word_from) pieces.push_back({line.substr(word_from, at - word_from), false});
    pieces.push_back({line.substr(at, end - at), true});
    at = word_from = end;
  }
  if (line.size() > word_from) pieces.push_back({line.substr(word_from), false});
  return pieces;
}

std::string_view without_sign(std::string_view number) {
  return number.front() == '-' || number.front() == '+' ? number.substr(1) : number;
}

/// from_chars knows no leading plus. Nothing when the value is beyond what a double holds.
std::optional<double> value_of(std::string_view number) {
  if (number.front() == '+') number.remove_prefix(1);
  double value = 0.0;
  const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), value);
  if (error != std::errc{} || end != number.data() + number.size()) return std::nullopt;
  return value;
}

bool is_whole(std::string_view number) {
  return number.find_first_of(".eE") == std::string_view::npos;
}

std::optional<std::string> number_difference(std::string_view was, std::string_view is,
                                             double tolerance) {
  if (was == is) return std::nullopt;
  const std::string both = fmt::format("{} became {}", was, is);
  const std::optional<double> old_value = value_of(was);
  const std::optional<double> new_value = value_of(is);
  if (!old_value || !new_value) return both;
  if (*old_value == 0.0 && *new_value == 0.0 && without_sign(was) == without_sign(is)) {
    return std::nullopt;
  }
  if (*old_value == *new_value) return both + ": the same number, spelled otherwise";
  if (is_whole(was) && is_whole(is)) return both + ": whole numbers must be equal";
  const double off = std::abs(*new_value - *old_value);
  const double allowed = tolerance * std::max(1.0, std::abs(*old_value));
  if (off <= allowed) return std::nullopt;
  return fmt::format("{}: off by {:.2g}, allowed {:.2g}", both, off, allowed);
}

std::vector<std::string_view> lines_of(std::string_view text) {
  std::vector<std::string_view> lines;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    lines.push_back(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return lines;
}

/// Pairs the lines of two texts: the longest common subsequence, by dynamic programming over what is
/// left when the same lines at both ends are taken off.
class Pairing {
 public:
  Pairing(std::vector<std::string_view> old_lines, std::vector<std::string_view> new_lines,
          double tolerance)
      : old_(std::move(old_lines)), new_(std::move(new_lines)), tolerance_(tolerance) {
    const std::size_t shorter = std::min(old_.size(), new_.size());
    while (head_ < shorter && same(head_, head_)) ++head_;
    while (tail_ < shorter - head_ && same(old_.size() - 1 - tail_, new_.size() - 1 - tail_))
      ++tail_;
    rows_ = old_.size() - head_ - tail_;
    columns_ = new_.size() - head_ - tail_;
    // Two long texts that differ all over: line against line is as good, and quick.
    if (rows_ * columns_ <= most_cells) fill();
  }

  std::vector<LineChange> changes() const {
    std::vector<LineChange> all;
    std::size_t i = 0;
    std::size_t j = 0;
    while (i < rows_ || j < columns_) {
      if (i < rows_ && j < columns_ && same(head_ + i, head_ + j)) {
        ++i;
        ++j;
        continue;
      }
      // A line that went where another came is one changed line.
      const Gap gap = gap_at(i, j);
      for (std::size_t k = 0; k < std::max(gap.old_count, gap.new_count); ++k) {
        all.push_back(change(k < gap.old_count ? head_ + i + k + 1 : 0,
                             k < gap.new_count ? head_ + j + k + 1 : 0));
      }
      i += gap.old_count;
      j += gap.new_count;
    }
    return all;
  }

 private:
  static constexpr std::size_t most_cells = 4'000'000;

  /// Lines without a partner that follow one another.
  struct Gap {
    std::size_t old_count = 0;
    std::size_t new_count = 0;
  };

  bool same(std::size_t i, std::size_t j) const {
    return old_[i] == new_[j] || !line_difference(old_[i], new_[j], tolerance_);
  }

  /// Length of the longest common subsequence of what follows row i and column j.
  std::uint32_t common(std::size_t i, std::size_t j) const {
    return i < rows_ && j < columns_ ? common_[i * columns_ + j] : 0;
  }

  void fill() {
    common_.resize(rows_ * columns_);
    for (std::size_t i = rows_; i-- > 0;) {
      for (std::size_t j = columns_; j-- > 0;) {
        common_[i * columns_ + j] = same(head_ + i, head_ + j)
                                        ? common(i + 1, j + 1) + 1
                                        : std::max(common(i + 1, j), common(i, j + 1));
      }
    }
  }

  Gap gap_at(std::size_t i, std::size_t j) const {
    if (common_.empty()) return {i < rows_ ? 1u : 0u, j < columns_ ? 1u : 0u};
    Gap gap;
    while (i + gap.old_count < rows_ || j + gap.new_count < columns_) {
      const std::size_t row = i + gap.old_count;
      const std::size_t column = j + gap.new_count;
      if (row < rows_ && column < columns_ && same(head_ + row, head_ + column)) break;
      const bool old_goes =
          column >= columns_ || (row < rows_ && common(row + 1, column) >= common(row, column + 1));
      ++(old_goes ? gap.old_count : gap.new_count);
    }
    return gap;
  }

  LineChange change(std::size_t old_number, std::size_t new_number) const {
    LineChange one{old_number, new_number, "", "", ""};
    if (old_number > 0) one.old_line = old_[old_number - 1];
    if (new_number > 0) one.new_line = new_[new_number - 1];
    if (old_number == 0) {
      one.why = "a line that was not there";
    } else if (new_number == 0) {
      one.why = "a line that is missing";
    } else {
      one.why = line_difference(one.old_line, one.new_line, tolerance_).value_or("moved");
    }
    return one;
  }

  std::vector<std::string_view> old_;
  std::vector<std::string_view> new_;
  double tolerance_;
  std::size_t head_ = 0;     ///< same lines at the begin
  std::size_t tail_ = 0;     ///< same lines at the end
  std::size_t rows_ = 0;     ///< old lines between
  std::size_t columns_ = 0;  ///< new lines between
  std::vector<std::uint32_t> common_;
};

}  // namespace

std::optional<std::string> line_difference(std::string_view old_line, std::string_view new_line,
                                           double tolerance) {
  if (old_line == new_line) return std::nullopt;
  const std::vector<Piece> was = pieces_of(old_line);
  const std::vector<Piece> is = pieces_of(new_line);
  for (std::size_t k = 0; k < std::min(was.size(), is.size()); ++k) {
    if (was[k].number && is[k].number) {
      if (auto why = number_difference(was[k].text, is[k].text, tolerance)) return why;
    } else if (was[k].text != is[k].text) {
      return fmt::format("\"{}\" became \"{}\"", was[k].text, is[k].text);
    }
  }
  if (was.size() > is.size()) return fmt::format("\"{}\" is missing", was[is.size()].text);
  if (was.size() < is.size()) return fmt::format("\"{}\" was not there", is[was.size()].text);
  return std::nullopt;
}

std::vector<LineChange> compare_texts(const std::string& old_text, const std::string& new_text,
                                      double tolerance) {
  if (old_text == new_text) return {};
  return Pairing(lines_of(old_text), lines_of(new_text), tolerance).changes();
}

std::string describe(const std::vector<LineChange>& changes, std::size_t most) {
  std::string text;
  for (std::size_t k = 0; k < std::min(most, changes.size()); ++k) {
    const LineChange& one = changes[k];
    text += fmt::format("  line {}: {}\n", one.old_number > 0 ? one.old_number : one.new_number,
                        one.why);
    if (one.old_number > 0) text += fmt::format("    old | {}\n", one.old_line);
    if (one.new_number > 0) text += fmt::format("    new | {}\n", one.new_line);
  }
  if (changes.size() > most) text += fmt::format("  and {} more lines\n", changes.size() - most);
  return text;
}

}  // namespace pivotrace::golden

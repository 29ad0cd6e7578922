#include "base/words.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/utf8.h"

namespace pivotrace {

namespace {

constexpr std::size_t excerpt_length = 40;

/// A longer word is no misspelling of a key; comparing it would only cost time.
constexpr std::size_t longest_word = 64;

std::size_t allowed_distance(std::size_t length) {
  return length <= 2 ? 0 : std::clamp<std::size_t>(length / 3, 1, 3);
}

bool starts_with_word(const std::string& longer, const std::string& shorter) {
  return shorter.size() >= 3 && longer.compare(0, shorter.size(), shorter) == 0;
}

}  // namespace

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& letter : lower) {
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter - 'A' + 'a');
  }
  return lower;
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

std::string excerpt(std::string_view text) {
  std::string shown;
  std::size_t characters = 0;
  for (const char letter : text) {
    const auto byte = static_cast<unsigned char>(letter);
    if (!is_utf8_continuation(letter) && ++characters > excerpt_length) return shown + "...";
    if (byte < 0x20 || byte == 0x7F) {
      shown += fmt::format("\\x{:02X}", byte);
    } else {
      shown += letter;
    }
  }
  return shown;
}

std::string base_name(std::string_view path) {
  const std::size_t slash = path.rfind('/');
  return std::string(slash == std::string_view::npos ? path : path.substr(slash + 1));
}

Place place_of(std::string_view text, std::size_t offset) {
  Place place;
  place.line = 1;
  offset = std::min(offset, text.size());
  std::size_t line_start = 0;
  for (std::size_t i = 0; i < offset; ++i) {
    const bool ends_line =
        text[i] == '\n' || (text[i] == '\r' && (i + 1 >= text.size() || text[i + 1] != '\n'));
    if (ends_line) {
      ++place.line;
      line_start = i + 1;
    }
  }
  place.column = 1;
  for (std::size_t i = line_start; i < offset; ++i) {
    if (!is_utf8_continuation(text[i])) ++place.column;
  }
  return place;
}

std::size_t edit_distance(std::string_view first, std::string_view second) {
  const std::string a = lower_case(first);
  const std::string b = lower_case(second);
  std::vector<std::size_t> before_last(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = a[i - 1] == b[j - 1] ? 0 : 1;
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + change});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) row[j] = std::min(row[j], before_last[j - 2] + 1);
    }
    before_last.swap(last);
    last.swap(row);
  }
  return last[b.size()];
}

std::optional<std::string> nearest_word(std::string_view word,
                                        const std::vector<std::string>& candidates) {
  if (word.empty() || word.size() > longest_word) return std::nullopt;
  const std::string lower = lower_case(word);
  std::optional<std::string> nearest;
  std::size_t smallest = allowed_distance(word.size()) + 1;
  for (const std::string& candidate : candidates) {
    const std::size_t distance = edit_distance(lower, candidate);
    if (distance < smallest) {
      smallest = distance;
      nearest = candidate;
    }
  }
  if (nearest) return nearest;
  for (const std::string& candidate : candidates) {
    const std::string known = lower_case(candidate);
    if (starts_with_word(known, lower) || starts_with_word(lower, known)) return candidate;
  }
  return std::nullopt;
}

std::vector<std::string> nearest_words(std::string_view word,
                                       const std::vector<std::string>& candidates,
                                       std::size_t count) {
  std::vector<std::string> sorted = candidates;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [&](const std::string& left, const std::string& right) {
                     return edit_distance(word, left) < edit_distance(word, right);
                   });
  if (sorted.size() > count) sorted.resize(count);
  return sorted;
}

std::string joined(const std::vector<std::string>& words) {
  return fmt::format("{}", fmt::join(words, ", "));
}

std::string did_you_mean(std::string_view word, const std::vector<std::string>& candidates) {
  const std::optional<std::string> nearest = nearest_word(word, candidates);
  if (nearest) return fmt::format("did you mean `{}`?", *nearest);
  if (candidates.empty()) return "there is none to choose from";
  return "known here: " + joined(candidates);
}

}  // namespace pivotrace

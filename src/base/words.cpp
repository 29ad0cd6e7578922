#include "base/words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <cstring>

namespace pivotrace {

namespace {

constexpr std::size_t excerpt_length = 40;

/// A longer word is no misspelling of a key; comparing it would only cost time.
constexpr std::size_t longest_word = 64;

bool is_continuation(char byte) { return (static_cast<unsigned char>(byte) & 0xC0U) == 0x80U; }

bool is_forbidden_control(unsigned char byte) {
  return byte < 0x20 && byte != '\t' && byte != '\n' && byte != '\r' && byte != '\f';
}

bool eight_plain_bytes(const char* at) {
  std::uint64_t word = 0;
  std::memcpy(&word, at, sizeof word);
  constexpr std::uint64_t high_bits = 0x8080808080808080U;
  constexpr std::uint64_t spaces = 0x2020202020202020U;
  // Without high bits, subtracting 0x20 from each byte borrows into its high bit exactly when one
  // of them (or of those below it) is a control character: then the slow path looks closer.
  return ((word | (word - spaces)) & high_bits) == 0;
}

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
    if (!is_continuation(letter) && ++characters > excerpt_length) return shown + "...";
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
    if (!is_continuation(text[i])) ++place.column;
  }
  return place;
}

// The valid byte pairs are those of the table in RFC 3629, section 4.
std::size_t utf8_length(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(at);
  if (lead < 0x80) return 1;
  std::size_t length = 0;
  if (lead >= 0xC2 && lead <= 0xDF) length = 2;
  if (lead >= 0xE0 && lead <= 0xEF) length = 3;
  if (lead >= 0xF0 && lead <= 0xF4) length = 4;
  if (length == 0 || at + length > text.size()) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if (!is_continuation(text[at + i])) return 0;
  }
  // Overlong forms, surrogates and values beyond U+10FFFF show in the second byte.
  const unsigned char second = byte(at + 1);
  const bool out_of_range = (lead == 0xE0 && second < 0xA0) || (lead == 0xED && second > 0x9F) ||
                            (lead == 0xF0 && second < 0x90) || (lead == 0xF4 && second > 0x8F);
  return out_of_range ? 0 : length;
}

std::optional<std::size_t> first_bad_byte(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    if (at + 8 <= text.size() && eight_plain_bytes(text.data() + at)) {
      at += 8;
      continue;
    }
    const auto byte = static_cast<unsigned char>(text[at]);
    if (is_forbidden_control(byte)) return at;
    if (byte < 0x80) {
      ++at;
      continue;
    }
    const std::size_t length = utf8_length(text, at);
    if (length == 0) return at;
    at += length;
  }
  return std::nullopt;
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

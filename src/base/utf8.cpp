#include "base/utf8.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>

namespace pivotrace {

namespace {

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

}  // namespace

std::size_t character_count(std::string_view text) {
  const auto continued = std::count_if(text.begin(), text.end(), is_utf8_continuation);
  return text.size() - static_cast<std::size_t>(continued);
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
    if (!is_utf8_continuation(text[at + i])) return 0;
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

void append_utf8(std::string& text, char32_t character) {
  if (character < 0x80) {
    text += static_cast<char>(character);
    return;
  }
  const int continued = character < 0x800 ? 1 : character < 0x10000 ? 2 : 3;
  constexpr std::array<unsigned, 4> leads = {0, 0xC0, 0xE0, 0xF0};
  text += static_cast<char>(leads[continued] | (character >> (6 * continued)));
  for (int left = continued - 1; left >= 0; --left) {
    text += static_cast<char>(0x80 | ((character >> (6 * left)) & 0x3F));
  }
}

}  // namespace pivotrace

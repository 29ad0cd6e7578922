// Characters of UTF-8 text.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace pivotrace {

/// A byte that goes on with the character before it.
constexpr bool is_utf8_continuation(char byte) {
  return (static_cast<unsigned char>(byte) & 0xC0U) == 0x80U;
}

/// Characters of the text; of broken text, bytes that begin one.
std::size_t character_count(std::string_view text);

/// First byte that cannot stand in a UTF-8 text file: a broken sequence or a control character
/// other than tab, line feed, form feed and carriage return.
std::optional<std::size_t> first_bad_byte(std::string_view text);

/// Length of the UTF-8 character at `text[at]`, 0 when the bytes there are broken (RFC 3629).
std::size_t utf8_length(std::string_view text, std::size_t at);

/// Adds the character of this code point, which must be at most U+10FFFF.
void append_utf8(std::string& text, char32_t character);

}  // namespace pivotrace

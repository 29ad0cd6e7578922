#include "pivots/text_view.h"

#include "base/utf8.h"

namespace pivotrace {

namespace {

using Byte = unsigned char;

Byte byte_of(const std::string& bytes, std::size_t i) { return static_cast<Byte>(bytes[i]); }

bool starts_with_bytes(const std::string& bytes, std::initializer_list<Byte> mark) {
  if (bytes.size() < mark.size()) return false;
  std::size_t i = 0;
  for (const Byte wanted : mark) {
    if (byte_of(bytes, i++) != wanted) return false;
  }
  return true;
}

bool is_utf8(const std::string& bytes) {
  for (std::size_t i = 0; i < bytes.size();) {
    const std::size_t length = utf8_length(bytes, i);
    if (length == 0) return false;
    i += length;
  }
  return true;
}

void append(TextView& view, char32_t character, std::size_t byte) {
  const std::size_t before = view.text.size();
  append_utf8(view.text, character);
  view.byte_at.insert(view.byte_at.end(), view.text.size() - before, byte);
}

void decode_eight_bit(TextView& view, const std::string& bytes, std::size_t start) {
  for (std::size_t i = start; i < bytes.size(); ++i) {
    if (view.encoding == Encoding::utf8) {
      view.text += bytes[i];
      view.byte_at.push_back(i);
    } else {
      append(view, byte_of(bytes, i), i);
    }
  }
}

/// A lone surrogate is kept as U+FFFD: it is only looked at, its bytes are never written.
void decode_sixteen_bit(TextView& view, const std::string& bytes) {
  const auto unit = [&](std::size_t i) -> char32_t {
    const Byte low = byte_of(bytes, view.encoding == Encoding::utf16_little ? i : i + 1);
    const Byte high = byte_of(bytes, view.encoding == Encoding::utf16_little ? i + 1 : i);
    return static_cast<char32_t>((high << 8) | low);
  };
  for (std::size_t i = 2; i + 1 < bytes.size(); i += 2) {
    const char32_t first = unit(i);
    if (first < 0xD800 || first > 0xDFFF) {
      append(view, first, i);
      continue;
    }
    const char32_t second = i + 3 < bytes.size() ? unit(i + 2) : 0;
    if (first < 0xDC00 && second >= 0xDC00 && second <= 0xDFFF) {
      append(view, 0x10000 + ((first - 0xD800) << 10) + (second - 0xDC00), i);
      i += 2;
    } else {
      append(view, 0xFFFD, i);
    }
  }
}

void split_lines(TextView& view) {
  std::size_t begin = 0;
  for (std::size_t i = 0; i < view.text.size(); ++i) {
    if (view.text[i] != '\n' && view.text[i] != '\r') continue;
    view.lines.push_back({begin, i});
    if (view.text[i] == '\r' && i + 1 < view.text.size() && view.text[i + 1] == '\n') ++i;
    begin = i + 1;
  }
  if (begin < view.text.size()) view.lines.push_back({begin, view.text.size()});
}

tl::unexpected<Problems> not_text(const std::string& file, const std::string& what) {
  return failure({ProblemNumber::unsupported_format,
                  what,
                  {file, 0, 0},
                  "name a text file; save it as UTF-8, Latin-1 or UTF-16 with byte-order mark"});
}

}  // namespace

Expected<TextView> text_view(const std::string& bytes, const std::string& file) {
  TextView view;
  if (starts_with_bytes(bytes, {0xFF, 0xFE, 0x00, 0x00}) ||
      starts_with_bytes(bytes, {0x00, 0x00, 0xFE, 0xFF})) {
    return not_text(file, "this file is UTF-32 text, which is not handled");
  }
  const bool little = starts_with_bytes(bytes, {0xFF, 0xFE});
  const bool big = starts_with_bytes(bytes, {0xFE, 0xFF});
  if (little || big) {
    if (bytes.size() % 2 != 0) return not_text(file, "this UTF-16 file ends within a character");
    view.encoding = little ? Encoding::utf16_little : Encoding::utf16_big;
    decode_sixteen_bit(view, bytes);
  } else {
    view.encoding = is_utf8(bytes) ? Encoding::utf8 : Encoding::latin1;
    decode_eight_bit(view, bytes, starts_with_bytes(bytes, {0xEF, 0xBB, 0xBF}) ? 3 : 0);
  }
  view.byte_at.push_back(bytes.size());
  if (view.text.find('\0') != std::string::npos) {
    return not_text(file, "this file has NUL characters: it is not text");
  }
  split_lines(view);
  return view;
}

std::string encoded(const std::string& ascii, Encoding encoding) {
  if (encoding == Encoding::utf8 || encoding == Encoding::latin1) return ascii;
  std::string bytes;
  for (const char c : ascii) {
    if (encoding == Encoding::utf16_big) bytes += '\0';
    bytes += c;
    if (encoding == Encoding::utf16_little) bytes += '\0';
  }
  return bytes;
}

}  // namespace pivotrace

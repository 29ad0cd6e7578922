// A file's bytes seen as UTF-8 text, with the way back to the bytes of every character.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"

namespace pivotrace {

enum class Encoding { utf8, latin1, utf16_little, utf16_big };

/// One line of the text without its line end.
struct TextLine {
  std::size_t begin = 0;  ///< into TextView::text
  std::size_t end = 0;
};

/// `text[i]` began at byte `byte_at[i]` of the file; byte_at has one entry more than text.
struct TextView {
  Encoding encoding = Encoding::utf8;
  std::string text;
  std::vector<std::size_t> byte_at;
  std::vector<TextLine> lines;  ///< LF, CRLF and lone CR all end a line
};

/// UTF-8 with or without byte-order mark, UTF-16 with one, else Latin-1. Refuses (P108) UTF-32 and
/// files with NUL characters, which are not text.
Expected<TextView> text_view(const std::string& bytes, const std::string& file);

/// ASCII text in the encoding of the file.
std::string encoded(const std::string& ascii, Encoding encoding);

}  // namespace pivotrace

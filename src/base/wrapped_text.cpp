#include "base/wrapped_text.h"

#include <sstream>

#include "base/utf8.h"

namespace pivotrace {

std::string wrapped(const std::string& text, const std::string& first, std::size_t indent,
                    std::size_t columns) {
  std::istringstream words(text);
  std::string lines;
  std::string line = first;
  bool empty = true;
  for (std::string word; words >> word;) {
    if (!empty && character_count(line) + 1 + character_count(word) > columns) {
      lines += line + "\n";
      line = std::string(indent, ' ');
      empty = true;
    }
    line += (empty ? "" : " ") + word;
    empty = false;
  }
  return lines + line + "\n";
}

}  // namespace pivotrace

#include "base/wrapped_text.h"

#include <sstream>

namespace pivotrace {

std::string wrapped(const std::string& text, const std::string& first, std::size_t indent) {
  std::istringstream words(text);
  std::string lines;
  std::string line = first;
  bool empty = true;
  for (std::string word; words >> word;) {
    if (!empty && line.size() + 1 + word.size() > screen_columns) {
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

// Text that fits a terminal and can be read aloud: no line beyond 100 columns.
#pragma once

#include <string>

namespace pivotrace {

inline constexpr std::size_t screen_columns = 100;

/// `text` broken between words; the first line begins with `first`, the others with as many blanks
/// as `indent`. Ends with LF. A word longer than a line stays whole.
std::string wrapped(const std::string& text, const std::string& first, std::size_t indent,
                    std::size_t columns = screen_columns);

}  // namespace pivotrace

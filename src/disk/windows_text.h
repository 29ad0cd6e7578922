// Text as Windows has it, UTF-16, and as everybody else has it. What is not proper text in one of them is
// the sign for an unknown letter in the other.
#pragma once

#include <string>
#include <string_view>

namespace pivotrace {

std::wstring utf16_of(std::string_view text);
std::string utf8_of(std::wstring_view text);

}  // namespace pivotrace

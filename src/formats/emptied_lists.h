// JSON text with some of its lists left out before it is read.
#pragma once

#include <initializer_list>
#include <string>
#include <string_view>

namespace pivotrace::formats {

/// The text of a JSON object with the lists that are its members `keys` emptied. Text that is no JSON comes
/// back as text that is none either.
std::string with_emptied_lists(std::string_view text, std::initializer_list<std::string_view> keys);

}  // namespace pivotrace::formats

// Names of files as text and as std::filesystem has them. On Windows that library takes text for the
// letters of the computer's own code page, not for UTF-8: names change hands here and nowhere else.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace pivotrace {

/// The path of this name, which is UTF-8. Where Windows has no letter for what is written, the path holds
/// the sign for an unknown one (U+FFFD), and no file is found.
std::filesystem::path path_of(std::string_view name);

/// The name of this path: UTF-8, '/' between folders, so that what travels in files reads anywhere.
std::string name_of(const std::filesystem::path& path);

}  // namespace pivotrace

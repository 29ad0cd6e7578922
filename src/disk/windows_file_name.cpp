#include <windows.h>

#include "disk/windows_text.h"
#include "pivotrace/disk/file_name.h"

namespace pivotrace {

std::wstring utf16_of(std::string_view text) {
  const int length = static_cast<int>(text.size());
  std::wstring units(
      static_cast<std::size_t>(MultiByteToWideChar(CP_UTF8, 0, text.data(), length, nullptr, 0)),
      L'\0');
  MultiByteToWideChar(CP_UTF8, 0, text.data(), length, units.data(),
                      static_cast<int>(units.size()));
  return units;
}

std::string utf8_of(std::wstring_view text) {
  const int length = static_cast<int>(text.size());
  std::string bytes(static_cast<std::size_t>(WideCharToMultiByte(CP_UTF8, 0, text.data(), length,
                                                                 nullptr, 0, nullptr, nullptr)),
                    '\0');
  WideCharToMultiByte(CP_UTF8, 0, text.data(), length, bytes.data(), static_cast<int>(bytes.size()),
                      nullptr, nullptr);
  return bytes;
}

std::filesystem::path path_of(std::string_view name) { return utf16_of(name); }

std::string name_of(const std::filesystem::path& path) { return utf8_of(path.generic_wstring()); }

}  // namespace pivotrace

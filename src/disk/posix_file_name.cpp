#include "pivotrace/disk/file_name.h"

namespace pivotrace {

std::filesystem::path path_of(std::string_view name) { return name; }

std::string name_of(const std::filesystem::path& path) { return path.generic_string(); }

}  // namespace pivotrace

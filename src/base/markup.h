// Text inside XML and HTML.
#pragma once

#include <string>
#include <string_view>

namespace pivotrace {

/// & < > " made harmless for XML and HTML.
std::string escaped(std::string_view text);

}  // namespace pivotrace

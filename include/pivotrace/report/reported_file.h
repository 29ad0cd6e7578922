// A file a page names, so that it is known later what the page was made of.
#pragma once

#include <string>

namespace pivotrace {

struct ReportedFile {
  std::string role;  ///< "old result"
  std::string file;
  std::string sha256;
};

}  // namespace pivotrace

// Made by the build from the files of this folder: what the program carries.
#pragma once

#include "pivotrace/manual/pages.h"

namespace pivotrace::manual {

/// Every page, in the order of CMakeLists.txt.
std::vector<Chapter> page_texts();

/// book.html: where the pages and the version go stand {{pages}} and {{version}}.
extern const char* const book_frame;

}  // namespace pivotrace::manual

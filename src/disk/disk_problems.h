// What the disk refused, in words: the system's reason and what to do.
#pragma once

#include <string>

#include "pivotrace/base/problem.h"

namespace pivotrace {

/// P601 (a folder: P603) behind an errno of reading.
Problem read_problem(const std::string& path, int error);

/// P602 (a folder: P603) behind an errno of writing: what was tried, on which file.
/// EBUSY stands for a file that another program holds open, as Windows lets it.
Problem write_problem(const std::string& tried, const std::string& path, int error);

}  // namespace pivotrace

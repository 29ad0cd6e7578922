// "Did you mean ...": the known names nearest to a mistyped one.
#pragma once

#include <string>
#include <vector>

namespace pivotrace {

/// Number of single-letter edits from one text to the other (Levenshtein 1966).
int edit_distance(const std::string& from, const std::string& to);

/// Up to `count` known names, nearest first.
std::vector<std::string> nearest_names(const std::string& wanted,
                                       const std::vector<std::string>& known, int count);

}  // namespace pivotrace

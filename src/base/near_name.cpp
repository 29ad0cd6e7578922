#include "base/near_name.h"

#include <algorithm>
#include <cctype>
#include <numeric>

namespace pivotrace {

namespace {

char lower(char c) { return static_cast<char>(std::tolower(static_cast<unsigned char>(c))); }

}  // namespace

int edit_distance(const std::string& from, const std::string& to) {
  std::vector<int> row(to.size() + 1);
  std::iota(row.begin(), row.end(), 0);
  for (std::size_t i = 1; i <= from.size(); ++i) {
    int diagonal = row[0];
    row[0] = static_cast<int>(i);
    for (std::size_t j = 1; j <= to.size(); ++j) {
      const int replaced = diagonal + (lower(from[i - 1]) == lower(to[j - 1]) ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row.back();
}

std::vector<std::string> nearest_names(const std::string& wanted,
                                       const std::vector<std::string>& known, int count) {
  std::vector<std::string> sorted = known;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [&](const std::string& left, const std::string& right) {
                     return edit_distance(wanted, left) < edit_distance(wanted, right);
                   });
  if (static_cast<int>(sorted.size()) > count) sorted.resize(count);
  return sorted;
}

}  // namespace pivotrace

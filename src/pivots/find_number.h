// Finding the one number of a text that a mapping entry means.
#pragma once

#include "pivotrace/pivots/mapping.h"
#include "pivots/text_view.h"

namespace pivotrace {

/// Longer lines are refused: no list meant to be read has them, and each place found is searched for
/// in time linear in the line.
inline constexpr std::size_t longest_searched_line = 65536;

/// Where the number stands, in characters of the view.
struct FoundNumber {
  std::size_t begin = 0;
  std::size_t end = 0;
  int line = 0;  ///< from 1
};

/// Exactly one place, or P502 with the number of places and their lines.
Expected<FoundNumber> find_number(const TextView& view, const MappingEntry& entry,
                                  const std::string& file);

/// The number an entry means, as it stands in the file and as it reads.
struct NumberInFile {
  FoundNumber where;
  int column = 0;  ///< from 1
  std::string text;
  double number = not_run;
};

/// P502 where it is not found exactly once, P111 with its place where it cannot be read.
Expected<NumberInFile> read_number(const TextView& view, const MappingEntry& entry,
                                   const std::string& file);

}  // namespace pivotrace

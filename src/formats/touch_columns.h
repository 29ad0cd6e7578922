// Which cell of a touch record's row holds what.
#pragma once

#include <array>
#include <string>
#include <utility>
#include <vector>

#include "base/problem_list.h"
#include "formats/csv_rows.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace::formats {

enum class TouchColumn {
  touch,
  station,
  artefact,
  kind,
  X,
  Y,
  Z,
  I,
  J,
  K,
  time,
  temp,
  flip,
  reading,
  setting,
  stylus
};
inline constexpr std::size_t touch_column_count = 16;

/// Header name of a column: "touch", "X", ...
const char* column_name(TouchColumn column);

inline constexpr int no_column = -1;

struct TouchColumns {
  std::size_t count = 0;  ///< columns of the header, empty ones at its end not counted
  std::array<int, touch_column_count> cell;  ///< index into a row's cells, or no_column
  std::array<int, max_rotary_axes> rotary;   ///< per Machine::rotary
  std::vector<std::pair<std::string, int>> extra;

  TouchColumns();
  int at(TouchColumn column) const { return cell[static_cast<std::size_t>(column)]; }
  bool has(TouchColumn column) const { return at(column) != no_column; }
};

/// How many names of this row are columns of a touch record: used to find the separator.
std::size_t known_names(const CsvRow& header);

/// Reads the header; problems (missing, doubled, misspelt, unknown axis) go to `problems`.
TouchColumns read_touch_header(std::string_view text, const CsvRow& header, const Machine& machine,
                               ProblemList& problems);

}  // namespace pivotrace::formats

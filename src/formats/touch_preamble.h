// The `# key: value` lines before the header of a touch record.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "base/problem_list.h"
#include "pivotrace/machine/conditions.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::formats {

struct TouchPreamble {
  bool inch = false;
  bool units_stated = false;
  bool units_wanted = false;  ///< not stated here: a `units` column must say them
  int units_line = 0;
  std::string machine_name;
  int machine_line = 0;
  std::string started;
  bool simulated = false;  ///< a rehearsal made this record
  TouchKind kind = TouchKind::touch;
  std::optional<LengthDatum> length_datum;
  Conditions conditions;
  std::size_t header_offset = 0;  ///< first byte that is neither remark nor blank line
  int header_line = 1;
};

/// Reads from `offset` (behind a byte-order mark) up to the header.
TouchPreamble read_touch_preamble(std::string_view text, std::size_t offset, ProblemList& problems);

/// A line that must stand before the header: a known key further down would be overlooked.
bool is_preamble_line(std::string_view line);

}  // namespace pivotrace::formats

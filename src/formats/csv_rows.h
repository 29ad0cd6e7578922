// Rows of a separated-values text (RFC 4180) with the place of every cell.
#pragma once

#include <cstddef>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"

namespace pivotrace::formats {

/// A row with more cells is no touch record but something else with many commas in it.
inline constexpr std::size_t most_csv_cells = 1000;

struct CsvCell {
  std::string_view text;   ///< without quotes; unquoted text without blanks at both ends
  std::size_t offset = 0;  ///< of its first byte in the whole text
};

struct CsvRow {
  std::vector<CsvCell> cells;
  int line = 0;              ///< where the row starts
  std::size_t offset = 0;    ///< of the row's first byte
  const char* fault = "";    ///< what is wrong with the row's quotes; empty = nothing
  std::size_t fault_at = 0;  ///< offset of that
};

/// Walks over a text once. Cells refer to the text or, where quotes had to be undone, to the reader:
/// they live until the next call of next().
class CsvReader {
 public:
  CsvReader(std::string_view text, char separator, std::size_t offset = 0, int line = 1)
      : text_(text), separator_(separator), at_(offset), line_(line) {}

  /// False at the end of the text. Lines end at LF, CRLF or CR; quoted cells may span lines.
  /// A line that starts with # is a remark: one cell, whatever it contains.
  bool next(CsvRow& row);

 private:
  bool at_row_end() const;
  bool read_remark(CsvRow& row);
  void end_line();
  CsvCell plain_cell();
  CsvCell quoted_cell(CsvRow& row);
  void skip_line();

  std::string_view text_;
  char separator_;
  std::size_t at_;
  int line_;
  std::deque<std::string> unquoted_;
};

/// Line and column of a byte of this row, found without rereading the text before the row.
Place place_in_row(std::string_view text, const CsvRow& row, std::size_t offset);

}  // namespace pivotrace::formats

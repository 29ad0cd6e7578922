#include "formats/csv_rows.h"

#include "base/words.h"

namespace pivotrace::formats {

namespace {

bool is_blank(char letter) { return letter == ' ' || letter == '\t'; }

}  // namespace

bool CsvReader::at_row_end() const {
  return at_ >= text_.size() || text_[at_] == '\n' || text_[at_] == '\r';
}

void CsvReader::end_line() {
  if (at_ >= text_.size()) return;
  const bool pair = text_[at_] == '\r' && at_ + 1 < text_.size() && text_[at_ + 1] == '\n';
  at_ += pair ? 2 : 1;
  ++line_;
}

void CsvReader::skip_line() {
  while (!at_row_end()) ++at_;
}

CsvCell CsvReader::plain_cell() {
  const std::size_t start = at_;
  while (!at_row_end() && text_[at_] != separator_) ++at_;
  const std::string_view raw = text_.substr(start, at_ - start);
  const std::string_view inner = trimmed(raw);
  // An empty cell stands where the row expects it: at its start.
  const std::size_t offset =
      inner.empty() ? start : static_cast<std::size_t>(inner.data() - text_.data());
  return {inner, offset};
}

CsvCell CsvReader::quoted_cell(CsvRow& row) {
  const std::size_t start = at_;
  std::string inner;
  bool closed = false;
  ++at_;
  while (at_ < text_.size() && !closed) {
    const char letter = text_[at_];
    const std::string_view following = text_.substr(at_ + 1, 1);
    const bool doubled = letter == '"' && following == "\"";
    closed = letter == '"' && !doubled;
    if (letter == '\n' || (letter == '\r' && following != "\n")) ++line_;
    if (!closed) inner += letter;
    at_ += doubled ? 2 : 1;
  }
  if (!closed) {
    row.fault = "this quote is never closed";
    row.fault_at = start;
  }
  while (!at_row_end() && is_blank(text_[at_]) && text_[at_] != separator_) ++at_;
  if (!at_row_end() && text_[at_] != separator_) {
    row.fault = "text follows a closing quote";
    row.fault_at = at_;
    skip_line();
  }
  unquoted_.push_back(std::move(inner));
  return {unquoted_.back(), start};
}

bool CsvReader::read_remark(CsvRow& row) {
  std::size_t first = at_;
  while (first < text_.size() && is_blank(text_[first])) ++first;
  if (first >= text_.size() || text_[first] != '#') return false;
  skip_line();
  row.cells.push_back({trimmed(text_.substr(first, at_ - first)), first});
  end_line();
  return true;
}

bool CsvReader::next(CsvRow& row) {
  row.cells.clear();
  row.fault = "";
  unquoted_.clear();
  if (at_ >= text_.size()) return false;
  row.line = line_;
  row.offset = at_;
  if (read_remark(row)) return true;
  while (true) {
    std::size_t first = at_;
    while (first < text_.size() && is_blank(text_[first]) && text_[first] != separator_) ++first;
    const bool quoted = first < text_.size() && text_[first] == '"';
    if (quoted) at_ = first;
    row.cells.push_back(quoted ? quoted_cell(row) : plain_cell());
    if (at_row_end()) break;
    if (row.cells.size() == most_csv_cells) {
      row.fault = "this row has more than 1000 columns";
      row.fault_at = at_;
      skip_line();
      break;
    }
    ++at_;
  }
  end_line();
  return true;
}

Place place_in_row(std::string_view text, const CsvRow& row, std::size_t offset) {
  Place place = place_of(text.substr(row.offset), offset - row.offset);
  place.line += row.line - 1;
  return place;
}

}  // namespace pivotrace::formats

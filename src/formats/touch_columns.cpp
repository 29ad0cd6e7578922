#include "formats/touch_columns.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/words.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace::formats {

namespace {

constexpr std::array<const char*, touch_column_count> names = {
    "touch", "station", "artefact", "kind", "X",    "Y",       "Z",       "I",
    "J",     "K",       "time",     "temp", "flip", "reading", "setting", "stylus"};

/// Shorter names are taken as they stand: `U` is a column of its own, not a misspelt `X`.
constexpr std::size_t shortest_misspelling = 4;

int named_column(std::string_view name) {
  const std::string lower = lower_case(name);
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (lower == lower_case(names[i])) return static_cast<int>(i);
  }
  return no_column;
}

/// 'A', 'B' or 'C' in either case, else 0.
char rotary_letter(std::string_view name) {
  if (name.size() != 1) return 0;
  const char upper = static_cast<char>(name[0] & ~0x20);
  return upper >= 'A' && upper <= 'C' ? upper : '\0';
}

std::string rotary_letters(const Machine& machine) {
  std::vector<std::string> letters;
  for (const RotaryAxis& axis : machine.rotary) letters.emplace_back(1, axis.letter);
  return joined(letters);
}

/// Reads the names one by one, then looks at what is missing.
class HeaderReader {
 public:
  HeaderReader(std::string_view text, const CsvRow& header, const Machine& machine,
               ProblemList& problems)
      : text_(text), header_(header), machine_(machine), problems_(problems) {}

  TouchColumns read() {
    columns_.count = header_.cells.size();
    while (columns_.count > 0 && header_.cells[columns_.count - 1].text.empty()) --columns_.count;
    for (std::size_t i = 0; i < columns_.count; ++i) read_name(static_cast<int>(i));
    report_misspellings();
    report_missing();
    return columns_;
  }

 private:
  std::string_view name_at(int index) const {
    return header_.cells[static_cast<std::size_t>(index)].text;
  }

  void report(int index, ProblemNumber number, std::string what, std::string advice) {
    const std::size_t offset = header_.cells[static_cast<std::size_t>(index)].offset;
    const Place place = place_in_row(text_, header_, offset);
    problems_.add(number, place.line, place.column, std::move(what), std::move(advice));
  }

  void read_name(int index) {
    const std::string_view name = name_at(index);
    if (name.empty()) {
      report(index, ProblemNumber::missing_column,
             fmt::format("column {} has no name in the header", index + 1),
             "name it, or remove the empty column");
      return;
    }
    if (!seen_.insert(lower_case(name)).second) {
      report(index, ProblemNumber::duplicate_name,
             fmt::format("there are two columns `{}`", excerpt(name)), "rename or remove one");
      return;
    }
    const int known = named_column(name);
    if (known != no_column) {
      columns_.cell[static_cast<std::size_t>(known)] = index;
    } else if (rotary_letter(name) != 0) {
      read_rotary(index, rotary_letter(name));
    } else {
      columns_.extra.emplace_back(std::string(name), index);
    }
  }

  void read_rotary(int index, char letter) {
    const int axis = machine_.rotary_index(letter);
    has_rotary_column_ = true;
    if (axis >= 0) {
      columns_.rotary[static_cast<std::size_t>(axis)] = index;
      return;
    }
    report(index, ProblemNumber::unknown_name,
           fmt::format("column `{}`: the machine \"{}\" has no rotary axis {}", letter,
                       machine_.name, letter),
           fmt::format("its rotary axes are {}: rename the column, or check that the machine file "
                       "is the right one",
                       rotary_letters(machine_)));
  }

  /// A misspelt optional column would be kept unread, and its default taken instead.
  void report_misspellings() {
    for (const auto& [name, index] : columns_.extra) {
      if (name.size() < shortest_misspelling) continue;
      std::vector<std::string> absent;
      for (std::size_t i = 0; i < names.size(); ++i) {
        if (columns_.cell[i] == no_column) absent.emplace_back(names[i]);
      }
      const auto meant = nearest_word(name, absent);
      if (!meant || (edit_distance(name, *meant) > 2 && lower_case(name) != "temperature"))
        continue;
      report(
          index, ProblemNumber::unknown_key,
          fmt::format("column `{}` looks like a misspelt `{}`", excerpt(name), *meant),
          fmt::format("write `{}`; if it is something else, give it a name further away", *meant));
    }
  }

  void report_missing() {
    std::vector<std::string> missing;
    for (const TouchColumn column : {TouchColumn::X, TouchColumn::Y, TouchColumn::Z}) {
      if (!columns_.has(column)) missing.emplace_back(column_name(column));
    }
    if (!missing.empty()) report_missing_columns(missing, blank_separated_advice());
    if (!has_rotary_column_) {
      report_missing_columns({rotary_letters(machine_)},
                             "add a column with the angles of the rotary axis, in degrees");
    } else {
      report_axes_that_cannot_be_at_zero();
    }
    if (!columns_.has(TouchColumn::artefact) && machine_.artefacts.size() > 1) {
      report_missing_columns(
          {"artefact"}, "the machine has several artefacts: say in each row which was touched");
    }
    report_half_direction();
  }

  void report_missing_columns(const std::vector<std::string>& missing, const std::string& advice) {
    problems_.add(ProblemNumber::missing_column, header_.line, 1,
                  fmt::format("the header has no column {}", joined(missing)), advice);
  }

  std::string blank_separated_advice() const {
    std::vector<std::string> seen;
    for (std::size_t i = 0; i < std::min<std::size_t>(columns_.count, 20); ++i) {
      seen.push_back(excerpt(header_.cells[i].text));
    }
    const bool blanks = columns_.count == 1 && seen[0].find(' ') != std::string::npos;
    if (blanks) return "separate the columns by commas, semicolons or tabs, not by spaces";
    return fmt::format(
        "the first line that is no remark must name the columns, for example `A,X,Y,Z`; found: {}",
        joined(seen));
  }

  void report_axes_that_cannot_be_at_zero() {
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      const RotaryAxis& axis = machine_.rotary[i];
      if (columns_.rotary[i] != no_column || axis.travel_rad.contains(0.0)) continue;
      report_missing_columns(
          {std::string(1, axis.letter)},
          fmt::format("without one the axis counts as standing at 0 deg, but its travel is {} to "
                      "{} deg: add the column",
                      deg_from_rad(axis.travel_rad.low), deg_from_rad(axis.travel_rad.high)));
    }
  }

  void report_half_direction() {
    const bool i = columns_.has(TouchColumn::I);
    const bool j = columns_.has(TouchColumn::J);
    const bool k = columns_.has(TouchColumn::K);
    if ((i && j && k) || (!i && !j && !k)) return;
    report_missing_columns({"I, J and K together"},
                           "a direction of approach needs all three columns; add or remove some");
  }

  std::string_view text_;
  const CsvRow& header_;
  const Machine& machine_;
  ProblemList& problems_;
  TouchColumns columns_;
  std::set<std::string> seen_;
  bool has_rotary_column_ = false;
};

}  // namespace

TouchColumns::TouchColumns() {
  cell.fill(no_column);
  rotary.fill(no_column);
}

const char* column_name(TouchColumn column) { return names[static_cast<std::size_t>(column)]; }

std::size_t known_names(const CsvRow& header) {
  const auto known =
      std::count_if(header.cells.begin(), header.cells.end(), [](const CsvCell& cell) {
        return named_column(cell.text) != no_column || rotary_letter(cell.text) != 0;
      });
  return static_cast<std::size_t>(known);
}

TouchColumns read_touch_header(std::string_view text, const CsvRow& header, const Machine& machine,
                               ProblemList& problems) {
  return HeaderReader(text, header, machine, problems).read();
}

}  // namespace pivotrace::formats

#include "pivotrace/formats/touch_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <unordered_map>

#include "base/number_text.h"
#include "base/utf8.h"
#include "base/words.h"
#include "formats/csv_rows.h"
#include "formats/touch_columns.h"
#include "formats/touch_preamble.h"
#include "formats/unit_check.h"
#include "pivotrace/base/length.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/length_datum.h"
#include "pivotrace/results/effect.h"

namespace pivotrace {

namespace {

using formats::CsvCell;
using formats::CsvReader;
using formats::CsvRow;
using formats::PositionBox;
using formats::TouchColumn;
using formats::TouchColumns;
using formats::TouchPreamble;

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

/// A row of five short numbers; only used to foresee how many rows there will be.
constexpr std::size_t usual_row_length = 32;

/// A workshop is warmer than this and cooler than that; 68 is Fahrenheit [degC].
constexpr Range believable_temperature = {-20.0, 59.0};

/// A direction this close to unit length is kept to the last bit.
constexpr double unit_length_tolerance = 1e-12;

/// Without a machine file nothing is out of its travel and every name is new.
Machine stand_in_machine() {
  constexpr double boundless = std::numeric_limits<double>::infinity();
  Machine machine;
  machine.linear.travel_mm.fill({-boundless, boundless});
  for (const char letter : {'A', 'B', 'C'}) {
    RotaryAxis axis;
    axis.letter = letter;
    axis.travel_rad = {-boundless, boundless};
    machine.rotary.push_back(axis);
  }
  return machine;
}

struct OutsidePosition {
  int line = 0;
  int column = 0;
  int axis = 0;
  double shown_mm = 0.0;
};

class TouchParser {
 public:
  /// Without a machine (nullptr) only what does not need one is checked.
  TouchParser(std::string_view text, const std::string& name, const Machine* machine)
      : text_(text),
        problems_(name),
        machine_(machine != nullptr ? *machine : stand_in_machine()),
        machine_known_(machine != nullptr) {
    survey_.file = name;
  }

  Expected<Survey> parse() {
    if (!is_text()) return problems_.as_failure();
    const bool marked = text_.substr(0, byte_order_mark.size()) == byte_order_mark;
    preamble_ = formats::read_touch_preamble(text_, marked ? byte_order_mark.size() : 0, problems_);
    check_machine_name();
    if (!read_header()) return problems_.as_failure();
    if (preamble_.units_wanted) read_units_column();
    read_rows();
    if (survey_.touches.empty() && problems_.empty()) {
      problems_.add(ProblemNumber::no_data, preamble_.header_line, 1,
                    "there are no touches under the header", "add one row per touch");
    }
    check_positions();
    if (!problems_.empty()) return problems_.as_failure();
    return std::move(survey_);
  }

  const TouchPreamble& preamble() const { return preamble_; }
  const TouchColumns& columns() const { return columns_; }
  const Machine& machine() const { return machine_; }

 private:
  // --- before the rows --------------------------------------------------------------------------

  bool is_text() {
    const auto bad = first_bad_byte(text_);
    if (!bad) return true;
    const Place place = place_of(text_, *bad);
    const auto byte = static_cast<unsigned char>(text_[*bad]);
    const bool two_byte_text = *bad == 0 && byte >= 0xFE;
    problems_.add(ProblemNumber::cannot_parse, place.line, place.column,
                  fmt::format("this is not plain text: byte 0x{:02X} cannot stand here", byte),
                  two_byte_text || byte >= 0x80
                      ? "save the file as UTF-8 text (CSV), then try again"
                      : "check that it is the file you meant: a touch record is a CSV text file");
    return false;
  }

  void check_machine_name() {
    const std::string& stated = preamble_.machine_name;
    survey_.machine_name = machine_known_ ? machine_.name : stated;
    survey_.started = preamble_.started;
    survey_.simulated = preamble_.simulated;
    if (!machine_known_ || stated.empty()) return;
    if (lower_case(stated) == lower_case(machine_.name)) return;
    problems_.add(ProblemNumber::other_machine, preamble_.machine_line, 1,
                  fmt::format("this record was made on \"{}\", the machine file describes \"{}\"",
                              excerpt(stated), machine_.name),
                  "use the machine file that belongs to this record, or correct `# machine:`");
  }

  /// The separator under which the header names most columns; comma when none does.
  char find_separator() const {
    char best = ',';
    std::size_t most = 0;
    for (const char separator : {',', ';', '\t'}) {
      CsvReader reader(text_, separator, preamble_.header_offset, preamble_.header_line);
      CsvRow header;
      if (!reader.next(header)) continue;
      const std::size_t known = formats::known_names(header);
      if (known > most) {
        most = known;
        best = separator;
      }
    }
    return best;
  }

  bool read_header() {
    separator_ = find_separator();
    CsvReader reader(text_, separator_, preamble_.header_offset, preamble_.header_line);
    if (!reader.next(row_)) {
      problems_.add(ProblemNumber::no_data, 0, 0,
                    trimmed(text_).empty() ? "this file is empty"
                                           : "there is no header and no touch in this file",
                    "write a header such as `A,X,Y,Z` and one row per touch under it");
      return false;
    }
    if (row_.fault[0] != '\0') {
      report_row_fault();
      return false;
    }
    const std::size_t before = problems_.count();
    columns_ = formats::read_touch_header(text_, row_, machine_, problems_);
    for (const auto& [name, index] : columns_.extra) survey_.extra_columns[name];
    return problems_.count() == before;
  }

  /// Records a control writes cannot have remarks: they say their units in a column of every row.
  void read_units_column() {
    for (const auto& [name, index] : columns_.extra) {
      if (lower_case(name) == "units") units_column_ = index;
    }
    CsvReader reader(text_, separator_, preamble_.header_offset, preamble_.header_line);
    CsvRow row;
    reader.next(row);
    const bool stated = units_column_ != formats::no_column && reader.next(row) &&
                        static_cast<std::size_t>(units_column_) < row.cells.size();
    if (!stated) {
      problems_.add(
          ProblemNumber::missing_key, 1, 1, "this record does not say its units",
          "add a line `# units: mm` or `# units: inch` above the header; nothing is guessed");
      return;
    }
    preamble_.inch = lower_case(row.cells[static_cast<std::size_t>(units_column_)].text) == "inch";
    preamble_.units_stated = true;
    preamble_.units_line = preamble_.header_line + 1;
  }

  void check_units_cell() {
    if (units_column_ == formats::no_column) return;
    const CsvCell& where = cell(units_column_);
    if (lower_case(where.text) == declared_unit()) return;
    report(where, ProblemNumber::wrong_units,
           fmt::format("units are \"{}\" here and {} above", excerpt(where.text), declared_unit()),
           "every row must say mm, or every row inch");
  }

  // --- rows -------------------------------------------------------------------------------------

  /// Growing step by step would cost a long record a third of its time.
  void reserve_rows() {
    const auto lines = std::min<std::size_t>(
        static_cast<std::size_t>(std::count(text_.begin(), text_.end(), '\n')),
        text_.size() / usual_row_length);
    survey_.touches.reserve(lines);
    if (columns_.has(TouchColumn::touch)) touch_lines_.reserve(lines);
  }

  void read_rows() {
    reserve_rows();
    CsvReader reader(text_, separator_, preamble_.header_offset, preamble_.header_line);
    reader.next(row_);
    while (reader.next(row_)) {
      if (is_remark() || is_blank()) continue;
      read_row();
    }
  }

  bool is_blank() const {
    return row_.fault[0] == '\0' &&
           std::all_of(row_.cells.begin(), row_.cells.end(),
                       [](const CsvCell& cell) { return cell.text.empty(); });
  }

  bool is_remark() {
    const CsvCell& first = row_.cells[0];
    const bool remark = !first.text.empty() && text_[first.offset] == '#';
    if (!remark) return false;
    const std::size_t end = std::min(text_.find_first_of("\r\n", row_.offset), text_.size());
    if (formats::is_preamble_line(text_.substr(row_.offset, end - row_.offset))) {
      report(first, ProblemNumber::cannot_parse, "this line stands below the header",
             "move it above the header; if two records were joined, keep them in two files");
    }
    return true;
  }

  void read_row() {
    if (row_.fault[0] != '\0') {
      report_row_fault();
      return;
    }
    if (!has_right_length()) return;
    row_is_good_ = true;
    Touch touch;
    touch.line = row_.line;
    check_units_cell();
    const bool angles_good = read_angles();
    read_position(touch);
    touch.kind = read_kind();
    touch.artefact = read_artefact(touch.kind);
    read_approach(touch);
    read_conditions(touch);
    read_stylus(touch);
    if (touch.kind == TouchKind::indicator) read_indicator(touch);
    touch.label = read_label();
    if (angles_good) touch.station = enter_station();
    if (!row_is_good_) return;
    apply_length_datum(touch);
    survey_.touches.push_back(std::move(touch));
    survey_.stations.back().touch_count += 1;
    for (const auto& [name, index] : columns_.extra) {
      survey_.extra_columns[name].emplace_back(cell(index).text);
    }
  }

  const CsvCell& cell(int index) const { return row_.cells[static_cast<std::size_t>(index)]; }
  const CsvCell& cell(TouchColumn column) const { return cell(columns_.at(column)); }

  void report(const CsvCell& where, ProblemNumber number, std::string what, std::string advice) {
    const Place place = formats::place_in_row(text_, row_, where.offset);
    problems_.add(number, place.line, place.column, std::move(what), std::move(advice));
    row_is_good_ = false;
  }

  void report_row_fault() {
    const Place place = formats::place_in_row(text_, row_, row_.fault_at);
    problems_.add(ProblemNumber::cannot_parse, place.line, place.column, row_.fault,
                  "put quotes around whole cells only, and double a quote inside one");
  }

  bool has_right_length() {
    std::size_t used = row_.cells.size();
    while (used > columns_.count && row_.cells[used - 1].text.empty()) --used;
    if (used == columns_.count) return true;
    const CsvCell& where = used > columns_.count ? row_.cells[columns_.count] : row_.cells[0];
    const char* advice =
        used > columns_.count && separator_ == ','
            ? "if these are decimal commas, separate the columns by semicolons or write points"
            : "give every row one value per column; leave a cell empty rather than out";
    report(where, ProblemNumber::cannot_parse,
           fmt::format("this row has {} values, the header has {} columns", used, columns_.count),
           advice);
    return false;
  }

  // --- numbers ----------------------------------------------------------------------------------

  /// Problems are reported; the value is then 0 and the row not used.
  double number(int index, const char* column) {
    const CsvCell& where = cell(index);
    const NumberReading reading = read_number(where.text);
    const bool comma_as_separator = reading.has_comma && separator_ == ',';
    if (reading.fault == NumberFault::none && !comma_as_separator) {
      note_decimal_mark(where, reading);
      return reading.value;
    }
    report_number(where, reading.fault, column, comma_as_separator);
    return 0.0;
  }

  double number(TouchColumn column) {
    return number(columns_.at(column), formats::column_name(column));
  }

  void report_number(const CsvCell& where, NumberFault fault, const char* column,
                     bool comma_as_separator) {
    const std::string shown = excerpt(where.text);
    if (fault == NumberFault::empty) {
      report(where, ProblemNumber::wrong_type, fmt::format("{} is empty", column),
             "type the number, or remove the row");
    } else if (fault == NumberFault::not_finite) {
      report(where, ProblemNumber::out_of_range,
             fmt::format("{} is \"{}\", which is no usable number", column, shown),
             "remove the row or measure this touch again");
    } else if (fault == NumberFault::two_meanings || comma_as_separator) {
      report(
          where, ProblemNumber::ambiguous_number,
          fmt::format("{} is \"{}\": is the comma a decimal or a thousands mark?", column, shown),
          "write a decimal point and no thousands mark: 1234.567");
    } else {
      report(where, ProblemNumber::wrong_type,
             fmt::format("{} is \"{}\", which is no number", column, shown),
             "type digits with a plain minus sign and a decimal point, without a unit");
    }
  }

  /// "1,234" alone could be either; what the rest of the record does decides.
  void note_decimal_mark(const CsvCell& where, const NumberReading& reading) {
    if (reading.has_point && point_line_ == 0) point_line_ = row_.line;
    if (reading.has_comma && comma_line_ == 0) comma_line_ = row_.line;
    if (point_line_ == 0 || comma_line_ == 0 || mixed_marks_reported_) return;
    if (!reading.has_point && !reading.has_comma) return;
    mixed_marks_reported_ = true;
    report(where, ProblemNumber::ambiguous_number,
           fmt::format("this record writes decimal points (line {}) and decimal commas (line {})",
                       point_line_, comma_line_),
           "use one decimal mark in the whole record and no thousands marks");
  }

  // --- the parts of a row -----------------------------------------------------------------------

  bool read_angles() {
    angles_rad_ = {};
    const bool good_before = row_is_good_;
    row_is_good_ = true;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      if (columns_.rotary[i] == formats::no_column) continue;
      read_angle(i, columns_.rotary[i]);
    }
    const bool angles_good = row_is_good_;
    row_is_good_ = good_before && angles_good;
    return angles_good;
  }

  void read_angle(std::size_t axis, int index) {
    const RotaryAxis& rotary = machine_.rotary[axis];
    const char name[] = {rotary.letter, '\0'};
    const double degrees = number(index, name);
    angles_rad_[axis] = rad_from_deg(degrees);
    const double slack_rad = rad_from_deg(station_angle_tolerance_deg);
    if (!row_is_good_ || rotary.travel_rad.contains(angles_rad_[axis], slack_rad)) return;
    report(
        cell(index), ProblemNumber::out_of_range,
        fmt::format("{} = {} deg lies outside its travel of {} to {} deg", rotary.letter, degrees,
                    deg_from_rad(rotary.travel_rad.low), deg_from_rad(rotary.travel_rad.high)),
        "correct the angle, or the limits in the machine file");
  }

  void read_position(Touch& touch) {
    const double mm_per_unit = preamble_.inch ? mm_per_inch : 1.0;
    const bool good_before = row_is_good_;
    row_is_good_ = true;
    touch.shown_mm = mm_per_unit * Eigen::Vector3d(number(TouchColumn::X), number(TouchColumn::Y),
                                                   number(TouchColumn::Z));
    if (row_is_good_) note_position(touch.shown_mm);
    row_is_good_ = row_is_good_ && good_before;
  }

  void note_position(const Eigen::Vector3d& shown_mm) {
    box_.add(shown_mm);
    for (int axis = 0; axis < 3; ++axis) {
      const Range& travel = machine_.linear.travel_mm[static_cast<std::size_t>(axis)];
      if (travel.contains(shown_mm[axis], travel_slack_mm)) continue;
      const auto column = static_cast<TouchColumn>(static_cast<int>(TouchColumn::X) + axis);
      if (outside_.size() < shown_problems) {
        const Place place = formats::place_in_row(text_, row_, cell(column).offset);
        outside_.push_back({place.line, place.column, axis, shown_mm[axis]});
      } else {
        ++outside_not_kept_;
      }
    }
  }

  TouchKind read_kind() {
    if (!columns_.has(TouchColumn::kind)) return preamble_.kind;
    const CsvCell& where = cell(TouchColumn::kind);
    if (where.text.empty()) return preamble_.kind;
    const std::string word = lower_case(where.text);
    if (word == "touch") return TouchKind::touch;
    if (word == "centre") return TouchKind::centre;
    if (word == "indicator") return TouchKind::indicator;
    report(where, ProblemNumber::unknown_name,
           fmt::format("`kind` cannot be \"{}\"", excerpt(where.text)),
           did_you_mean(word, {"touch", "centre", "indicator"}));
    return preamble_.kind;
  }

  int read_artefact(TouchKind kind) {
    const int artefact = find_artefact();
    if (artefact < 0 || kind != TouchKind::centre) return std::max(artefact, 0);
    const Artefact& touched = machine_.artefacts[static_cast<std::size_t>(artefact)];
    if (touched.kind == ArtefactKind::ball) return artefact;
    report(row_.cells[0], ProblemNumber::out_of_range,
           fmt::format("this row is a ball centre, but \"{}\" is a {}", touched.name,
                       kind_word(touched.kind)),
           "only balls have centres: give the touches themselves, with kind `touch`");
    return artefact;
  }

  int find_artefact() {
    const bool stated =
        columns_.has(TouchColumn::artefact) && !cell(TouchColumn::artefact).text.empty();
    if (!stated && machine_known_ && machine_.artefacts.size() == 1) return 0;
    if (!stated && !machine_known_) return named_artefact("");
    const CsvCell& where = cell(TouchColumn::artefact);
    const int artefact = named_artefact(where.text);
    if (artefact >= 0) return artefact;
    std::vector<std::string> names;
    for (const Artefact& known : machine_.artefacts) names.push_back(known.name);
    report(where, ProblemNumber::unknown_name,
           stated ? fmt::format("the machine file has no artefact \"{}\"", excerpt(where.text))
                  : std::string("this row does not say which artefact was touched"),
           did_you_mean(where.text, names));
    return -1;
  }

  /// Many controls can only write capitals; -1 when two artefacts would then be called the same.
  int named_in_capitals(std::string_view name) const {
    int found = -1;
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) {
      if (lower_case(machine_.artefacts[i].name) != lower_case(name)) continue;
      if (found >= 0) return -1;
      found = static_cast<int>(i);
    }
    return found;
  }

  int named_artefact(std::string_view name) {
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) {
      if (machine_.artefacts[i].name == name) return static_cast<int>(i);
    }
    if (machine_known_) return named_in_capitals(name);
    Artefact unknown;
    unknown.name = std::string(name);
    machine_.artefacts.push_back(unknown);
    return static_cast<int>(machine_.artefacts.size()) - 1;
  }

  void read_approach(Touch& touch) {
    if (!columns_.has(TouchColumn::I)) return;
    const bool any = !cell(TouchColumn::I).text.empty() || !cell(TouchColumn::J).text.empty() ||
                     !cell(TouchColumn::K).text.empty();
    if (!any) return;
    const bool good_before = row_is_good_;
    row_is_good_ = true;
    const Eigen::Vector3d raw(number(TouchColumn::I), number(TouchColumn::J),
                              number(TouchColumn::K));
    const double largest = raw.cwiseAbs().maxCoeff();
    if (row_is_good_ && largest == 0.0) {
      report(cell(TouchColumn::I), ProblemNumber::out_of_range,
             "the direction of approach I, J, K is 0, 0, 0",
             "give the direction in which the stylus moved, or leave the three cells empty");
    }
    if (row_is_good_) {
      const bool unit = std::abs(raw.squaredNorm() - 1.0) < unit_length_tolerance;
      touch.approach = unit ? raw : Eigen::Vector3d((raw / largest).normalized());
    }
    row_is_good_ = row_is_good_ && good_before;
  }

  bool is_given(TouchColumn column) const {
    return columns_.has(column) && !cell(column).text.empty();
  }

  void read_conditions(Touch& touch) {
    if (is_given(TouchColumn::time)) {
      touch.time_s = number(TouchColumn::time);
      check_time(*touch.time_s);
    }
    if (is_given(TouchColumn::temp)) {
      touch.temperature_degC = number(TouchColumn::temp);
      check_temperature(*touch.temperature_degC);
    }
    if (is_given(TouchColumn::flip)) touch.flip = read_flip();
  }

  void check_time(double time_s) {
    if (!row_is_good_) return;
    if (time_s < last_time_s_) {
      report(cell(TouchColumn::time), ProblemNumber::out_of_range,
             fmt::format("`time` goes back from {} s (line {}) to {} s", last_time_s_,
                         last_time_line_, time_s),
             "rows must stand in the order in which they were taken; count on after midnight");
      return;
    }
    last_time_s_ = time_s;
    last_time_line_ = row_.line;
  }

  void check_temperature(double temperature_degC) {
    if (!row_is_good_ || believable_temperature.contains(temperature_degC)) return;
    report(cell(TouchColumn::temp), ProblemNumber::out_of_range,
           fmt::format("`temp` is {} degC, which no workshop has", temperature_degC),
           "give degrees Celsius: (Fahrenheit - 32) / 1.8");
  }

  bool read_flip() {
    const std::string word = lower_case(cell(TouchColumn::flip).text);
    if (word == "1" || word == "yes" || word == "true") return true;
    if (word == "0" || word == "no" || word == "false") return false;
    report(cell(TouchColumn::flip), ProblemNumber::wrong_type,
           fmt::format("`flip` cannot be \"{}\"", excerpt(word)),
           "write 1 when the spindle was turned by 180 deg, else 0");
    return false;
  }

  /// Index of this text among the names seen so far.
  int index_among(std::vector<std::string>& names, const CsvCell& where, int most,
                  const char* what) {
    const auto known = std::find(names.begin(), names.end(), where.text);
    if (known != names.end()) return static_cast<int>(known - names.begin());
    if (static_cast<int>(names.size()) == most) {
      report(where, ProblemNumber::out_of_range,
             fmt::format("this is {} number {}; a record may have {}", what, most + 1, most),
             "split the record, or give rows that belong together one name");
      return 0;
    }
    names.emplace_back(where.text);
    return static_cast<int>(names.size()) - 1;
  }

  void read_stylus(Touch& touch) {
    if (!columns_.has(TouchColumn::stylus)) return;
    touch.stylus =
        index_among(survey_.styluses, cell(TouchColumn::stylus), most_styluses, "stylus");
  }

  /// A dial reads more when its tip is pushed in: the point touched lies back along the direction.
  void read_indicator(Touch& touch) {
    const Artefact& touched = machine_.artefacts[static_cast<std::size_t>(touch.artefact)];
    if (machine_known_ && touched.kind != ArtefactKind::flat && !touched.diameter_mm) {
      report(row_.cells[0], ProblemNumber::missing_key,
             fmt::format("an indicator read on \"{}\" needs its diameter", touched.name),
             "add `diameter` in the machine file; a micrometer reading will do");
    }
    if (!columns_.has(TouchColumn::reading)) {
      report(row_.cells[0], ProblemNumber::missing_column,
             "an indicator row needs a column `reading`", "add it: what the dial showed");
      return;
    }
    if (!touch.approach) {
      report(row_.cells[0], ProblemNumber::missing_column,
             "an indicator row needs I, J and K: the direction its tip points in",
             "0,-1,0 is a tip that points towards -Y");
      return;
    }
    if (columns_.has(TouchColumn::setting)) {
      touch.setting =
          index_among(survey_.settings, cell(TouchColumn::setting), most_settings, "setting");
    }
    const double mm_per_unit = preamble_.inch ? mm_per_inch : 1.0;
    touch.shown_mm -= mm_per_unit * number(TouchColumn::reading) * *touch.approach;
  }

  std::string read_label() {
    ++row_number_;
    if (!columns_.has(TouchColumn::touch)) return std::to_string(row_number_);
    const CsvCell& where = cell(TouchColumn::touch);
    std::string label = where.text.empty() ? std::to_string(row_number_) : std::string(where.text);
    const auto [earlier, is_new] = touch_lines_.emplace(label, row_.line);
    if (!is_new) {
      report(where, ProblemNumber::duplicate_name,
             fmt::format("touch \"{}\" stands in line {} already", excerpt(label), earlier->second),
             "give every touch a number of its own, or remove the row if it was entered twice");
    }
    return label;
  }

  // --- stations ---------------------------------------------------------------------------------

  bool same_angles(const RotaryAngles& first, const RotaryAngles& second) const {
    const double tolerance_rad = rad_from_deg(station_angle_tolerance_deg);
    for (std::size_t i = 0; i < first.size(); ++i) {
      if (std::abs(first[i] - second[i]) > tolerance_rad) return false;
    }
    return true;
  }

  /// Index of the station this row belongs to, opened if need be.
  int enter_station() {
    if (columns_.has(TouchColumn::station)) {
      enter_named_station();
    } else if (survey_.stations.empty() ||
               !same_angles(survey_.stations.back().angles_rad, angles_rad_)) {
      open_station(std::to_string(survey_.stations.size() + 1));
    }
    return static_cast<int>(survey_.stations.size()) - 1;
  }

  void enter_named_station() {
    const CsvCell& where = cell(TouchColumn::station);
    if (where.text.empty()) {
      report(where, ProblemNumber::bad_station, "`station` is empty",
             "number the stations, or leave the whole column out");
    }
    if (survey_.stations.empty() || survey_.stations.back().label != where.text) {
      refuse_returning_station(where);
      open_station(std::string(where.text));
      return;
    }
    Station& station = survey_.stations.back();
    if (same_angles(station.angles_rad, angles_rad_)) return;
    report(where, ProblemNumber::bad_station,
           fmt::format("station \"{}\" has other angles here than in line {}",
                       excerpt(station.label), station_line_),
           "a station is one stay at one set of angles: give this row a new station number, or "
           "correct the angle");
    // One message per change is enough.
    station.angles_rad = angles_rad_;
    station_line_ = row_.line;
  }

  void refuse_returning_station(const CsvCell& where) {
    const auto earlier = station_last_lines_.find(std::string(where.text));
    if (earlier == station_last_lines_.end() || where.text.empty()) return;
    report(where, ProblemNumber::bad_station,
           fmt::format("station \"{}\" of line {} comes back after another station",
                       excerpt(where.text), earlier->second),
           "give the second stay a new station number, even at the same angles");
  }

  void open_station(std::string label) {
    Station station;
    station.angles_rad = angles_rad_;
    station.first_touch = static_cast<int>(survey_.touches.size());
    if (columns_.has(TouchColumn::station)) station_last_lines_[label] = row_.line;
    station.label = std::move(label);
    station_line_ = row_.line;
    survey_.stations.push_back(std::move(station));
  }

  void apply_length_datum(Touch& touch) const {
    const LengthDatum datum = preamble_.length_datum.value_or(machine_.probe.length_datum);
    if (touch.kind != TouchKind::touch) return;
    touch.shown_mm += datum_to_centre_mm(datum, machine_.probe.stylus_radius_mm());
  }

  // --- after the rows ---------------------------------------------------------------------------

  void check_positions() {
    if (!machine_known_ || !preamble_.units_stated) return;
    const double other_unit = preamble_.inch ? 1.0 / mm_per_inch : mm_per_inch;
    const formats::ShapeOfPositions shape = formats::shape_of_positions(machine_, survey_);
    if (!outside_.empty() && shape.shifted) {
      report_work_coordinates(shape.shift_mm);
    } else if (!outside_.empty() && shape.unit_fits) {
      report_outside_positions();
    } else if (!outside_.empty() && box_.fits(machine_.linear, travel_slack_mm, other_unit)) {
      report_swapped_units(
          fmt::format("{} (line {})", outside_text(outside_[0]), outside_[0].line));
    } else if (!outside_.empty()) {
      report_outside_positions();
    } else if (problems_.empty() &&
               formats::other_unit_fits_better(machine_, survey_, other_unit)) {
      report_swapped_units("the touches are far from where the machine file places the artefact");
    }
  }

  const char* declared_unit() const { return preamble_.inch ? "inch" : "mm"; }
  const char* other_unit() const { return preamble_.inch ? "mm" : "inch"; }

  void report_swapped_units(const std::string& trouble) {
    problems_.add(ProblemNumber::wrong_units, preamble_.units_line, 1,
                  fmt::format("the units are declared as {}, but then {}; read as {} the positions "
                              "fit",
                              declared_unit(), trouble, other_unit()),
                  fmt::format("inch and mm seem to be swapped: check the values, then write "
                              "`# units: {}`",
                              other_unit()));
  }

  void report_work_coordinates(const Eigen::Vector3d& shift_mm) {
    const Eigen::Vector3d by = shift_mm / (preamble_.inch ? mm_per_inch : 1.0);
    problems_.add(
        ProblemNumber::out_of_range, outside_[0].line, outside_[0].column,
        fmt::format("{}; all rows lie alike X {:.4g} Y {:.4g} Z {:.4g} {} from where the machine "
                    "file places the artefact",
                    outside_text(outside_[0]), -by.x(), -by.y(), -by.z(), declared_unit()),
        "positions of a work offset? Write machine coordinates, as the control shows them with no "
        "offset in force, or correct the rough positions in the machine file");
  }

  /// What is wrong with one row while the others are in their places.
  std::string advice_for(const OutsidePosition& position) const {
    const Range& travel = machine_.linear.travel_mm[static_cast<std::size_t>(position.axis)];
    if (travel.contains(-position.shown_mm, travel_slack_mm)) {
      return fmt::format("with the other sign it fits: a lost sign of {} in this row?",
                         "XYZ"[position.axis]);
    }
    return "check the value, that inch and mm are not mixed in this record, and that positions are "
           "machine coordinates";
  }

  std::string outside_text(const OutsidePosition& position) const {
    const double mm_per_unit = preamble_.inch ? mm_per_inch : 1.0;
    const Range& travel = machine_.linear.travel_mm[static_cast<std::size_t>(position.axis)];
    return fmt::format("{} = {:.10g} {} lies outside the travel of {:.10g} to {:.10g} {}",
                       "XYZ"[position.axis], position.shown_mm / mm_per_unit, declared_unit(),
                       travel.low / mm_per_unit, travel.high / mm_per_unit, declared_unit());
  }

  void report_outside_positions() {
    for (const OutsidePosition& position : outside_) {
      problems_.add(ProblemNumber::wrong_units, position.line, position.column,
                    fmt::format("{} (units as declared in line {})", outside_text(position),
                                preamble_.units_line),
                    advice_for(position));
    }
    if (outside_not_kept_ == 0) return;
    problems_.add(ProblemNumber::wrong_units, outside_.back().line, outside_.back().column,
                  fmt::format("and {} more positions outside the travel", outside_not_kept_),
                  "check the units and the machine file");
  }

  std::string_view text_;
  ProblemList problems_;
  Machine machine_;
  bool machine_known_;
  TouchPreamble preamble_;
  TouchColumns columns_;
  int units_column_ = formats::no_column;
  char separator_ = ',';
  Survey survey_;

  CsvRow row_;  ///< the row being read
  bool row_is_good_ = true;
  int row_number_ = 0;
  RotaryAngles angles_rad_{};

  std::unordered_map<std::string, int> touch_lines_;
  std::unordered_map<std::string, int> station_last_lines_;
  int station_line_ = 0;
  double last_time_s_ = -std::numeric_limits<double>::infinity();
  int last_time_line_ = 0;
  int point_line_ = 0;  ///< first number with a decimal point; 0 = none yet
  int comma_line_ = 0;
  bool mixed_marks_reported_ = false;
  PositionBox box_;
  std::vector<OutsidePosition> outside_;
  std::size_t outside_not_kept_ = 0;
};

}  // namespace

Expected<Survey> parse_survey(std::string_view text, const std::string& name,
                              const Machine& machine) {
  return TouchParser(text, name, &machine).parse();
}

Expected<Survey> read_survey(const std::string& path, const Machine& machine, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_survey(*text, path, machine);
}

Expected<TouchRecordOutline> outline_touches(std::string_view text, const std::string& name) {
  TouchParser parser(text, name, nullptr);
  const Expected<Survey> survey = parser.parse();
  if (!survey) return tl::make_unexpected(survey.error());
  TouchRecordOutline outline;
  outline.machine_name = survey->machine_name;
  outline.inch = parser.preamble().inch;
  for (std::size_t i = 0; i < parser.machine().rotary.size(); ++i) {
    if (parser.columns().rotary[i] == formats::no_column) continue;
    outline.letters += parser.machine().rotary[i].letter;
  }
  outline.touches = static_cast<int>(survey->touches.size());
  for (const Touch& touch : survey->touches) {
    if (touch.kind == TouchKind::centre) ++outline.centres;
    if (touch.kind == TouchKind::indicator) ++outline.readings;
  }
  outline.stations = static_cast<int>(survey->stations.size());
  for (const Artefact& artefact : parser.machine().artefacts) {
    if (!artefact.name.empty()) outline.artefacts.push_back(artefact.name);
  }
  return outline;
}

}  // namespace pivotrace

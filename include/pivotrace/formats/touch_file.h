// Touch records: one probe touch (or worked-out ball centre) per row of a CSV file.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// A shown position may lie this far outside the stated travel before it is refused [mm]. Common
/// practice, no source.
inline constexpr double travel_slack_mm = 25.0;

/// Angles of one station may differ by this much: rounding of typed text only [deg].
inline constexpr double station_angle_tolerance_deg = 1e-6;

/// Reads a touch record of `machine`; every problem is reported at once with line and column
/// (the first 50, then how many more).
///
/// Before the header, lines `# key: value`: `units` ("mm" or "inch", required unless a column
/// `units` says it in every row, as the logs of emitted programs do), `format` (1),
/// `machine` (must be the machine's name), `started` (ISO 8601 date or date and time), `kind`
/// ("touch" or "centre": the default of all rows), `length_datum` ("centre" or "tip": overrides the
/// machine file for this record). Other lines that start with # are remarks and are skipped
/// anywhere, unless their key looks like a misspelling of one of these.
///
/// Columns, in any order, names in upper or lower case; what is not listed is kept unread in
/// Survey::extra_columns:
///   X Y Z     machine coordinates as the control shows them, required
///   A B C     angles of the rotary axes [deg]. At least one column is required; an axis of the
///             machine without a column stood at 0 throughout
///   touch     number or name of the touch, used once; without it the row's running number
///   station   rows of one station follow one another and share their angles. Without this column a
///             new station starts whenever an angle changes
///   artefact  what was touched, capitals or not where that is no other's name; may be left out when
///             the machine has one artefact
///   kind      touch (a trigger on the surface) or centre (a ball centre already worked out)
///   I J K     direction of approach, towards the surface, any length but zero
///   time      seconds since the start, never going back
///   temp      degrees Celsius
///   flip      1 when the spindle was turned by 180 deg, else 0
///
/// The separator (comma, semicolon or tab) is the one under which the header names most columns.
/// Decimal commas are read where the separator is no comma and no number of the record has a
/// decimal point; otherwise P111. RFC 4180 quotes, a byte-order mark, CRLF, lone CR, blank lines and
/// separators at the end of a row are accepted.
///
/// Length datum "tip": the control shows Z of the lowest point of the stylus ball, one stylus radius
/// below its centre, and does so whatever the tool-side angles are, because the probe's length is
/// one fixed number along Z. So Z of every `touch` row is raised by the stylus radius; `centre` rows
/// are places already and stay. Tool-side centres of the machine were lowered by as much when the
/// machine file was read, which leaves the axis lines where they are in the machine.
///
/// Positions outside the travel widened by travel_slack_mm, or fitting the artefacts far better in
/// the other unit, are P112; angles outside their limits P105.
/// Errors: P101 broken CSV, P102..P114.
Expected<Survey> parse_survey(std::string_view text, const std::string& name,
                              const Machine& machine);

/// read_file, then parse_survey. Errors: also P601, P603, P604.
Expected<Survey> read_survey(const std::string& path, const Machine& machine,
                             FileCalls& disk = system_file_calls());

/// The survey as a touch record, always in mm and degrees, with the columns that say something.
/// parse_survey(write_survey(s)) gives back s exactly, but for Touch::line and Survey::file; angles
/// exactly when they came from degrees (as rad_from_deg gives them), else within 1 unit in the last
/// place, because degrees are what is written.
std::string write_survey(const Survey& survey, const Machine& machine);

/// What can be said of a touch record without its machine file.
struct TouchRecordOutline {
  std::string machine_name;  ///< as stated in the record, may be empty
  bool inch = false;
  std::string letters;  ///< rotary columns, "AC"
  int touches = 0;
  int centres = 0;
  int readings = 0;  ///< of an indicator
  int stations = 0;
  std::vector<std::string> artefacts;  ///< names used; empty when there is no such column
};

/// Checks everything that does not need the machine: syntax, numbers, stations, doubled touches.
Expected<TouchRecordOutline> outline_touches(std::string_view text, const std::string& name);

}  // namespace pivotrace

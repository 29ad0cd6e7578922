// A rehearsal as a film: one page that plays what the program does.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace {

/// Where everything stood when it had come to rest, and when. RehearsalOptions::at_rest gives them.
struct FilmStop {
  double time_s = 0.0;
  Moment moment;
};

struct FilmSource {
  std::string program_file;
  std::string program;  ///< its text
  std::string date;     ///< of making the page, ISO 8601
};

/// One self-contained HTML file: two views of the machine, a slider over the time of motion, the line of
/// the program, position, angles and clearance of the moment, the clearance over the whole run. No
/// network. Without scripts it shows the moment of the smallest clearance (or where the program stopped),
/// the curve and the stations as a table.
std::string rehearsal_film(const Machine& machine, const RehearsalReport& report,
                           const std::vector<FilmStop>& stops, const FilmSource& source);

}  // namespace pivotrace

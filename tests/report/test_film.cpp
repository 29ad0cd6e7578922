// The film of a rehearsal: what stands on its page without and for the script.
#include <doctest/doctest.h>

#include "cycle/demo_plans.h"
#include "pivotrace/report/rehearsal_film.h"
#include "report/stands_alone.h"

using namespace pivotrace;
using namespace pivotrace::report;

TEST_CASE("a film plays without network, and shows a still without scripts") {
  const Machine machine = testing::example("fourth-axis");
  RehearsalReport report;
  report.passed = true;
  report.state_at_end = nominal_state(machine);
  report.seconds = 12.0;
  std::vector<FilmStop> stops(3);
  for (std::size_t i = 0; i < stops.size(); ++i) {
    stops[i].time_s = 6.0 * static_cast<double>(i);
    stops[i].moment.line = static_cast<int>(i) + 1;
    stops[i].moment.real_mm = {-270.0, -200.0, -150.0 + 10.0 * static_cast<double>(i)};
  }
  stops[2].moment.real_rad[0] = 0.5;
  const std::string page = rehearsal_film(machine, report, stops,
                                          {"p.nc", "one\n(</script> in a remark)\nthree\n", "now"});
  for (const char* words :
       {"CAUTION", "Passed", "id=\"scene\"", "<polygon", "\"stops\"", "Stations"}) {
    INFO(words);
    CHECK(says(page, words));
  }
  // Nothing of the program can end the script early: two elements, two ends.
  std::size_t ends = 0;
  for (std::size_t at = 0; (at = page.find("</script>", at)) != std::string::npos; ++at) ++ends;
  CHECK(ends == 2);
  check_alone(page);
}

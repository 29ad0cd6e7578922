// Conditions of a survey, from the machine file and from the record.
#include <doctest/doctest.h>

#include "formats/file_tests.h"
#include "pivotrace/formats/conditions_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/geometry/angle.h"

using namespace pivotrace;

namespace {

const std::string usual =
    "[conditions]\nprobe = \"P1, 50 mm stylus\"\nprobe_calibrated = \"2026-01-15\"\n"
    "tables = \"on\"\nload_kg = 20\nwarm_minutes = 60\naxes_while_touched = \"clamped\"\n"
    "tables_written = \"2026-01-20\"\nrollover = \"by sign\"\nindex_step_deg = \"A = 5; C = 7.5\"\n"
    "artefacts = \"ball = No. 17; pin = P 2\"\n";

Problems problems_of(const std::string& line) {
  const auto machine = parse_machine(test::example_text("fourth-axis.machine.toml"), "m");
  REQUIRE(machine.has_value());
  const auto survey =
      parse_survey("# units: mm\n" + line + "\nA,X,Y,Z\n0,-300,-200,-100\n", "r", *machine);
  return survey ? Problems{} : survey.error();
}

}  // namespace

TEST_CASE("a machine file states how surveys are usually made, a record what was otherwise") {
  const std::string text = test::example_text("fourth-axis.machine.toml") + usual;
  REQUIRE(parse_machine(text, "m").has_value());
  const auto stated = conditions_of_machine(text, "m");
  REQUIRE(stated.has_value());
  CHECK(stated->probe == "P1, 50 mm stylus");
  CHECK(stated->probe_calibrated == "2026-01-15");
  CHECK(stated->tables_on == true);
  CHECK(stated->load_kg == 20.0);
  CHECK(stated->warm_minutes == 60.0);
  CHECK(stated->clamped == true);
  CHECK(stated->tables_written == "2026-01-20");
  CHECK(stated->rollover == "by sign");
  CHECK(stated->index_step_rad.at('A') == doctest::Approx(rad_from_deg(5.0)));
  CHECK(stated->index_step_rad.at('C') == doctest::Approx(rad_from_deg(7.5)));
  CHECK(stated->artefacts.at("ball") == "No. 17");
  CHECK(stated->artefacts.at("pin") == "P 2");
  const Conditions both = overlaid(
      *stated, conditions_of_record("# units: mm\n# probe_calibrated: 2026-05-02\n# load_kg: 140\n"
                                    "# axes_while_touched: free\n# artefacts: ball = No. 18\n"
                                    "# tables_written: 2026-04-30\n# rollover: Shortest way\n"
                                    "# index_step_deg: C = 15\n"
                                    "A,X,Y,Z\n"));
  CHECK(both.probe == "P1, 50 mm stylus");
  CHECK(both.probe_calibrated == "2026-05-02");
  CHECK(both.load_kg == 140.0);
  CHECK(both.clamped == false);
  CHECK(both.tables_written == "2026-04-30");
  CHECK(both.rollover == "shortest way");
  CHECK(both.index_step_rad.at('A') == doctest::Approx(rad_from_deg(5.0)));
  CHECK(both.index_step_rad.at('C') == doctest::Approx(rad_from_deg(15.0)));
  CHECK(both.artefacts.at("ball") == "No. 18");
  CHECK(both.artefacts.at("pin") == "P 2");
}

TEST_CASE("a condition that is none is refused where it stands") {
  for (const char* line : {"# probe_calibrated: last week", "# tables: maybe", "# load_kg: -3",
                           "# load_kg: heavy", "# axes_while_touched: tight", "# artefacts: ball",
                           "# tables_written: then", "# rollover: maybe", "# index_step_deg: C",
                           "# index_step_deg: C = 0", "# index_step_deg: table = 5"}) {
    CAPTURE(line);
    const Problems problems = problems_of(line);
    REQUIRE(problems.size() == 1);
    CHECK(problems.front().number == ProblemNumber::out_of_range);
    CHECK(problems.front().where.line == 2);
  }
  CHECK(problems_of("# tables: off").empty());
  const auto machine = parse_machine(test::example_text("fourth-axis.machine.toml") +
                                         "[conditions]\nprobe_calibrated = \"last week\"\n",
                                     "m");
  REQUIRE_FALSE(machine.has_value());
  CHECK(machine.error().front().number == ProblemNumber::out_of_range);
}

TEST_CASE("nobody stated anything: nothing is known") {
  CHECK(conditions_of_machine(test::example_text("fourth-axis.machine.toml"), "m").value() ==
        Conditions{});
  CHECK(conditions_of_record("A,X,Y,Z\n0,1,2,3\n") == Conditions{});
  CHECK(conditions_of_record("") == Conditions{});
}

#include <rapidcheck.h>

#include <chrono>
#include <numbers>

#include "formats/file_tests.h"
#include "formats/survey_tests.h"
#include "formats/touch_preamble.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"

using namespace pivotrace;
using test::check_only;
using test::place_in;
using test::replaced;

namespace {

Machine machine_from(const std::string& text) {
  const auto machine = parse_machine(text, "test");
  REQUIRE_MESSAGE(machine.has_value(), test::described(machine.error()));
  return *machine;
}

const Machine& fourth_axis() {
  static const Machine machine = machine_from(test::example_text("fourth-axis.machine.toml"));
  return machine;
}

const Machine& trunnion() {
  static const Machine machine = machine_from(test::example_text("trunnion.machine.toml"));
  return machine;
}

/// A 4th axis with a second ball, so that rows must say which one was touched.
Machine two_balls() {
  return machine_from(test::example_text("fourth-axis.machine.toml") +
                      "[[artefact]]\nname = \"far ball\"\nkind = \"ball\"\ncarried_by = \"A\"\n"
                      "at = [-240, -200, -190]\ndiameter_as = \"ball\"\n"
                      "[[artefact]]\nname = \"face\"\nkind = \"flat\"\ncarried_by = \"A\"\n"
                      "at = [-240, -200, -190]\ndirection = [1, 0, 0]\nsize = 10\n");
}

Survey survey_of(const std::string& text, const Machine& machine = fourth_axis()) {
  const auto survey = parse_survey(text, "t.csv", machine);
  REQUIRE_MESSAGE(survey.has_value(), test::described(survey.error()) << "\nin:\n" << text);
  return *survey;
}

Problems problems_of(const std::string& text, const Machine& machine = fourth_axis()) {
  const auto survey = parse_survey(text, "t.csv", machine);
  REQUIRE_FALSE(survey.has_value());
  return survey.error();
}

// Invented positions round about the example's ball; they are read here, never fitted.
const std::string full =
    "# format: 1\n"
    "# units: mm\n"
    "# machine: Bench mill with 4th axis, invented\n"
    "# started: 2026-03-05T14:30:00+01:00\n"
    "# invented numbers\n"
    "touch,station,artefact,A,X,Y,Z,I,J,K,time,temp,flip,feed\n"
    "1,1,ball,0,-270.1,-200.2,-174.3,0,0,-1,0,20.5,0,100\n"
    "2,1,ball,0,-254.3,-200.2,-190.1,-2,0,0,6.5,20.5,1,101\n"
    "3,2,ball,-90,-270.1,-140.2,-234.3,0,0,-1,20,20.75,0,102\n";

}  // namespace

TEST_CASE("a full record reads as it is written") {
  const Survey survey = survey_of(full);
  CHECK(survey.file == "t.csv");
  CHECK(survey.machine_name == "Bench mill with 4th axis, invented");
  CHECK(survey.started == "2026-03-05T14:30:00+01:00");
  REQUIRE(survey.touches.size() == 3);
  REQUIRE(survey.stations.size() == 2);
  CHECK(survey.stations[0].label == "1");
  CHECK(survey.stations[0].first_touch == 0);
  CHECK(survey.stations[0].touch_count == 2);
  CHECK(survey.stations[1].first_touch == 2);
  CHECK(survey.stations[1].angles_rad[0] == rad_from_deg(-90.0));
  const Touch& second = survey.touches[1];
  CHECK(second.label == "2");
  CHECK(second.station == 0);
  CHECK(second.kind == TouchKind::touch);
  CHECK(second.shown_mm == Eigen::Vector3d(-254.3, -200.2, -190.1));
  CHECK(second.approach == Eigen::Vector3d(-1, 0, 0));
  CHECK(second.time_s == 6.5);
  CHECK(second.temperature_degC == 20.5);
  CHECK(second.flip);
  CHECK(second.line == 8);
  CHECK(survey.extra_columns.at("feed") == std::vector<std::string>{"100", "101", "102"});
}

TEST_CASE("a few lines typed by hand are enough") {
  const Survey survey = survey_of(
      "# units: mm\n"
      "# kind: centre\n"
      "A,X,Y,Z\n"
      "0,-270,-200,-190\n"
      "90,-270,-140,-250\n"
      "180,-270,-200,-310\n"
      "0,-270,-200,-190\n");
  REQUIRE(survey.touches.size() == 4);
  CHECK(survey.stations.size() == 4);
  CHECK(survey.touches[0].kind == TouchKind::centre);
  CHECK(survey.touches[3].label == "4");
  CHECK(survey.touches[3].artefact == 0);
  CHECK(survey.stations[3].label == "4");
  CHECK_FALSE(survey.touches[0].approach);
  CHECK_FALSE(survey.touches[0].time_s);
}

TEST_CASE("without a station column every change of any angle starts a new station") {
  const std::string head = "# units: mm\nA,C,X,Y,Z\n";
  const Survey survey = survey_of(head +
                                      "0,0,-180,-220,-270\n0,0.0000005,-180,-220,-270\n"
                                      "0,30,-189,-185,-270\n30,30,-189,-260,-250\n",
                                  trunnion());
  REQUIRE(survey.stations.size() == 3);
  CHECK(survey.stations[0].touch_count == 2);
  CHECK(survey.stations[2].angles_rad[0] == rad_from_deg(30.0));
}

TEST_CASE("an axis without a column stood at 0, as long as some rotary column is there") {
  const Survey survey = survey_of("# units: mm\nC,X,Y,Z\n90,-250,-150,-270\n", trunnion());
  CHECK(survey.stations[0].angles_rad[0] == 0.0);
  CHECK(survey.stations[0].angles_rad[1] == rad_from_deg(90.0));
  check_only(problems_of("# units: mm\nX,Y,Z\n-250,-150,-270\n", trunnion()),
             ProblemNumber::missing_column, 2, 1);
  Machine machine = trunnion();
  machine.rotary[0].travel_rad = {rad_from_deg(10.0), rad_from_deg(100.0)};
  check_only(problems_of("# units: mm\nC,X,Y,Z\n90,-250,-150,-270\n", machine),
             ProblemNumber::missing_column, 2, 1);
}

TEST_CASE("columns in any order and any case, marks and line ends of every origin") {
  const Survey expected = survey_of(full);
  const std::string rows =
      "\xEF\xBB\xBF# UNITS: mm\r\n#started:2026-03-05T14:30:00+01:00\r\n\r\n"
      "feed;Z;y;X;a;Touch;K;J;I;STATION;artefact;flip;Temp;time;;\r\n"
      "100;-174,3;-200,2;-270,1;0;1;-1;0;0;1;ball;no;20,5;0;;\r\n"
      ";;;;;;;;;;;;;;;\r\n"
      "  \r\n"
      "101; -190,1 ;-200,2;-254,3;+0;2;0;0;-2;1;\"ball\";YES;20,5;6,5;;\r\n"
      "# a remark with \"quotes\n; and separators\r\n"
      "102;-234,3;-140,2;-270,1;-90,0;3;-1;0;0;2;ball;;20,75;20;;";
  CHECK(test::same_survey(
      survey_of(replaced(rows, "# a remark with \"quotes\n;", "# a remark; with \"quotes")),
      expected));
  std::string tabs = replaced(rows, "# a remark with \"quotes\n;", "#");
  std::replace(tabs.begin(), tabs.end(), ';', '\t');
  CHECK(test::same_survey(survey_of(tabs), expected));
  std::string old_lines = full;
  std::replace(old_lines.begin(), old_lines.end(), '\n', '\r');
  CHECK(test::same_survey(survey_of(old_lines), expected));
}

TEST_CASE("quoted cells may hold separators, quotes and line breaks") {
  const Survey survey = survey_of(
      "# units: mm\nA,X,Y,Z,remark\n0,-270,-200,-190,\"a \"\"b\"\", c\nsecond line\"\n"
      "0,-270,-200,-190,\" kept blanks \"\n");
  CHECK(survey.extra_columns.at("remark") ==
        std::vector<std::string>{"a \"b\", c\nsecond line", " kept blanks "});
  CHECK(survey.touches[1].line == 5);
}

TEST_CASE("inch positions become mm, angles and time stay") {
  const Survey survey = survey_of("# units: inch\nA,X,Y,Z,time\n90,-10.5,-7.8,-7.5,60\n");
  CHECK(survey.touches[0].shown_mm == Eigen::Vector3d(-10.5 * 25.4, -7.8 * 25.4, -7.5 * 25.4));
  CHECK(survey.touches[0].time_s == 60.0);
  CHECK(survey.stations[0].angles_rad[0] == rad_from_deg(90.0));
}

TEST_CASE("length datum at the tip raises touches to the ball centre, never centre rows") {
  Machine tip = fourth_axis();
  tip.probe.length_datum = LengthDatum::tip;
  const std::string text =
      "# units: mm\nA,X,Y,Z,kind\n0,-270,-200,-177,touch\n0,-270,-200,-190,centre\n";
  const Survey survey = survey_of(text, tip);
  CHECK(survey.touches[0].shown_mm.z() == -174.0);
  CHECK(survey.touches[1].shown_mm.z() == -190.0);
  CHECK(survey_of("# length_datum: centre\n" + text, tip).touches[0].shown_mm.z() == -177.0);
  CHECK(survey_of("# length_datum: tip\n" + text).touches[0].shown_mm.z() == -174.0);
}

TEST_CASE("with tool-side axes both length data lead to the same stylus centre") {
  // A head turning about Y, pivot 180 above the ball centre and so 183 above the tip. The machine
  // slide stands at the same place in both cases; only what the control shows differs, by 3 in Z.
  const std::string wide = replaced(test::tool_side, "X = [-600, 0], Y = [-400, 0], Z = [-500, 0]",
                                    "X = [-600, 600], Y = [-400, 400], Z = [-500, 500]");
  const std::string head = replaced(wide, "at = [-300, -200, -400]", "at = [0, 0, 0]");
  const Machine centre = machine_from(head);
  const Machine tip =
      machine_from(replaced(replaced(head, "180]", "183]"), "\"centre\"", "\"tip\""));
  const Survey of_centre = survey_of("# units: mm\nB,X,Y,Z\n35,10,20,30\n", centre);
  const Survey of_tip = survey_of("# units: mm\nB,X,Y,Z\n35,10,20,27\n", tip);
  const auto stylus = [](const Machine& machine, const Survey& survey) {
    return stylus_in_machine(machine, nominal_state(machine), survey.touches[0].shown_mm,
                             survey.stations[0].angles_rad);
  };
  CHECK((stylus(centre, of_centre) - stylus(tip, of_tip)).norm() < 1e-12);
  // By hand: the pivot stands at (10, 20, 210), the ball hangs 180 below it, swung by 35 deg.
  const double angle = 35.0 * std::numbers::pi / 180.0;
  const Eigen::Vector3d by_hand(10 - 180 * std::sin(angle), 20, 210 - 180 * std::cos(angle));
  CHECK((stylus(tip, of_tip) - by_hand).norm() < 1e-12);
}

TEST_CASE("every single fault of a record is named with its number, line and column") {
  using P = ProblemNumber;
  const auto check_change = [](const std::string& from, const std::string& to, P number,
                               const std::string& needle, const std::string& words = "") {
    const std::string text = replaced(full, from, to);
    const Place place = place_in(text, needle);
    INFO("changed to: " << to);
    const Problems problems = problems_of(text);
    check_only(problems, number, place.line, place.column);
    CHECK(problems[0].where.file == "t.csv");
    if (!words.empty()) {
      CHECK_MESSAGE(test::mentions(problems[0], words), test::described(problems));
    }
  };
  // before the header
  check_change("# format: 1", "# format: 2", P::unsupported_format, "2");
  check_change("# units: mm", "# units: cm", P::unknown_name, "cm", "mm, inch");
  check_change("# units: mm", "# no", P::missing_key, "# format", "# units: mm");
  check_change("# units: mm", "# unit: mm", P::unknown_key, "mm", "# units:");
  check_change("# machine: Bench mill with 4th axis, invented", "# machine: Other",
               P::other_machine, "# mach");
  check_change("2026-03-05T14:30:00+01:00", "5 March", P::out_of_range, "5 March", "2026");
  check_change("# invented numbers", "# format: 1", P::duplicate_name, "1\ntouch");
  // header
  check_change(",X,Y", ",W,Y", P::missing_column, "touch,", "X");
  check_change("touch,station", "touch,statoin", P::unknown_key, "statoin", "station");
  check_change(",temp,", ",temperature,", P::unknown_key, "temperature", "temp");
  check_change("artefact,", "artifact,", P::unknown_key, "artifact", "artefact");
  check_change("artefact,A", "artefact,B", P::unknown_name, "B,X");
  check_change(",feed", ",flip", P::duplicate_name, "flip\n");
  check_change(",flip,feed", ",,feed", P::missing_column, ",feed");
  check_change(",I,J,K", ",I,J,L", P::missing_column, "touch,", "I, J and K");
  // numbers
  check_change("-254.3", "-254.3mm", P::wrong_type, "-254.3mm", "-254.3mm");
  check_change("-254.3", "", P::wrong_type, ",-200.2,-190.1");
  check_change("-254.3", "nan", P::out_of_range, "nan");
  check_change("-254.3", "-inf", P::out_of_range, "-inf");
  check_change("-254.3", "1e400", P::out_of_range, "1e400");
  check_change("-254.3", "\"-254,3\"", P::ambiguous_number, "\"-254,3\"");
  check_change("-254.3,-200.2", "-254,3,-200,2", P::cannot_parse, "1,101", "semicolons");
  check_change("-254.3", "-2543", P::wrong_units, "-2543", "mm");
  check_change("-254.3", "30", P::wrong_units, "30,-200", "travel of -600 to 0 mm");
  check_change("3,2,ball,-90", "3,2,ball,-361", P::out_of_range, "-361");
  check_change("-2,0,0,6.5", "0,0,0,6.5", P::out_of_range, "0,0,0,6.5");
  check_change("-2,0,0,6.5", "-2,,0,6.5", P::wrong_type, ",0,6.5");
  check_change("20,20.75", "6.25,20.75", P::out_of_range, "6.25");
  check_change("20.75", "68", P::out_of_range, "68", "Celsius");
  check_change("6.5,20.5,1", "6.5,20.5,2", P::wrong_type, "2,101");
  // names and stations
  check_change("2,1,ball", "1,1,ball", P::duplicate_name, "1,1,ball,0,-254.3", "line 7");
  check_change("2,1,ball", "2,1,bal", P::unknown_name, "bal,0", "did you mean `ball`?");
  check_change("2,1,ball", "2,,ball", P::bad_station, ",ball,0,-254");
  check_change("2,1,ball,0", "2,1,ball,1", P::bad_station, "1,ball,1", "line 7");
  // quotes and row lengths
  check_change("102\n", "\"102\n", P::cannot_parse, "\"102");
  check_change("102\n", "\"102\"x\n", P::cannot_parse, "x\n");
  check_change(",102\n", "\n", P::cannot_parse, "3,2,ball");
  check_change("102\n", "102,7\n", P::cannot_parse, "7\n");
  check_change("3,2,ball", "# units: inch\n3,2,ball", P::cannot_parse, "# units: inch");
}

TEST_CASE("a station that comes back needs a new number") {
  const std::string text =
      "# units: mm\nstation,A,X,Y,Z\n7,0,-270,-200,-174\n8,90,-270,-140,-250\n7,0,-270,-200,-174\n";
  const Problems problems = problems_of(text);
  check_only(problems, ProblemNumber::bad_station, 5, 1);
  CHECK(test::mentions(problems[0], "line 3"));
  CHECK(test::mentions(problems[0], "new station number"));
}

TEST_CASE("a station with one touch is allowed") {
  const Survey survey = survey_of("# units: mm\nstation,A,X,Y,Z\n1,0,-270,-200,-174\n");
  CHECK(survey.stations[0].touch_count == 1);
}

TEST_CASE("with several artefacts every row must say which") {
  const Machine machine = two_balls();
  const std::string head = "# units: mm\nartefact,kind,A,X,Y,Z\n";
  const Survey survey = survey_of(head + "far ball,centre,0,-240,-200,-190\n", machine);
  CHECK(survey.touches[0].artefact == 1);
  check_only(problems_of(head + ",centre,0,-240,-200,-190\n", machine), ProblemNumber::unknown_name,
             3, 1);
  check_only(problems_of(head + "far bal,centre,0,-240,-200,-190\n", machine),
             ProblemNumber::unknown_name, 3, 1);
  check_only(problems_of(head + "face,centre,0,-240,-200,-190\n", machine),
             ProblemNumber::out_of_range, 3);
  check_only(problems_of(head + "ball,center,0,-240,-200,-190\n", machine),
             ProblemNumber::unknown_name, 3, 6);
  check_only(problems_of("# units: mm\nA,X,Y,Z\n0,-240,-200,-190\n", machine),
             ProblemNumber::missing_column, 2);
}

TEST_CASE("decimal commas are read only when they can mean nothing else") {
  const std::string commas = "# units: mm\nA;X;Y;Z\n0;-270,5;-200;-190,25\n90;-270;-140,125;-250\n";
  CHECK(survey_of(commas).touches[0].shown_mm == Eigen::Vector3d(-270.5, -200, -190.25));
  const Problems mixed = problems_of(replaced(commas, "-140,125", "-140.125"));
  check_only(mixed, ProblemNumber::ambiguous_number, 4, 9);  // 90;-270;-140.125
  CHECK(test::mentions(mixed[0], "line 3"));
  check_only(problems_of(replaced(commas, "-140,125", "-1.140,125")),
             ProblemNumber::ambiguous_number, 4, 9);
  check_only(problems_of(replaced(commas, "-140,125", "-1,140,125")),
             ProblemNumber::ambiguous_number, 4, 9);
}

TEST_CASE("columns separated by blanks only are refused with advice") {
  const Problems problems = problems_of("# units: mm\nA X Y Z\n0 -270 -200 -190\n");
  REQUIRE(problems.size() == 2);  // no X, Y, Z; no rotary letter
  CHECK(problems[0].number == ProblemNumber::missing_column);
  CHECK(test::mentions(problems[0], "not by spaces"));
}

TEST_CASE("swapped units are found by the travel, and by the artefact where the travel is silent") {
  const std::string mm_values = "A,X,Y,Z\n0,-270,-200,-174\n90,-270,-124,-250\n";
  const Problems too_large = problems_of("# units: inch\n" + mm_values);
  check_only(too_large, ProblemNumber::wrong_units, 1);
  CHECK(test::mentions(too_large[0], "declared as inch"));
  CHECK(test::mentions(too_large[0], "# units: mm"));
  CHECK(test::mentions(too_large[0], "line 3"));
  // Read as mm these lie well inside the travel of -600..0, but nowhere near the ball.
  const std::string inch_values = "A,X,Y,Z\n0,-10.63,-7.874,-6.85\n90,-10.63,-4.88,-9.84\n";
  const Problems small = problems_of("# units: mm\n" + inch_values);
  check_only(small, ProblemNumber::wrong_units, 1);
  CHECK(test::mentions(small[0], "# units: inch"));
  CHECK(survey_of("# units: inch\n" + inch_values).touches.size() == 2);
}

TEST_CASE("one lost sign outside the travel is a row typed wrong, not a wrong unit") {
  const std::string text =
      "# units: mm\n# kind: centre\nA,X,Y,Z\n0,-270,-200,-190\n60,-270,148,-220\n"
      "120,-270,-148,-280\n180,-270,-200,-310\n";
  const Problems problems = problems_of(text);
  check_only(problems, ProblemNumber::wrong_units, 5);
  CHECK(test::mentions(problems[0], "Y = 148 mm lies outside the travel"));
  CHECK(test::mentions(problems[0], "a lost sign of Y in this row"));
  CHECK_FALSE(test::mentions(problems[0], "swapped"));
}

TEST_CASE("positions of a work offset outside the travel are told from a wrong unit") {
  // The ball's circle about A, counted from a work zero at X -300, Y -200, Z -250.
  const std::string text =
      "# units: mm\n# kind: centre\nA,X,Y,Z\n0,30,0,60\n90,30,60,0\n180,30,0,-60\n";
  const Problems problems = problems_of(text);
  REQUIRE(problems.size() == 1);
  CHECK(problems[0].number == ProblemNumber::out_of_range);
  CHECK(test::mentions(problems[0], "positions of a work offset"));
  CHECK(test::mentions(problems[0], "all rows lie alike"));
}

TEST_CASE("a wrong turn sense in the machine file is not mistaken for a wrong unit") {
  const std::string text =
      "# units: mm\nA,X,Y,Z\n0,-270,-200,-174\n90,-270,-276,-250\n-90,-270,-124,-250\n";
  Machine machine = fourth_axis();
  CHECK(survey_of(text, machine).touches.size() == 3);
  machine.rotary[0].positive_turn = TurnSense::right_hand;
  CHECK(survey_of(text, machine).touches.size() == 3);
}

TEST_CASE("files with nothing in them") {
  check_only(problems_of("# units: mm\n"), ProblemNumber::no_data);
  check_only(problems_of("# units: mm\nA,X,Y,Z\n"), ProblemNumber::no_data, 2);
  check_only(problems_of("# units: mm\nA,X,Y,Z\n\n,,,\n # remark\n"), ProblemNumber::no_data, 2);
  check_only(problems_of(""), ProblemNumber::no_data);
}

TEST_CASE("what is no touch record at all fails fast and clearly") {
  const auto quickly = [](const std::string& text, ProblemNumber number) {
    const auto start = std::chrono::steady_clock::now();
    const Problems problems = problems_of(text);
    const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - start;
    CHECK(problems.size() <= 51);
    CHECK(problems[0].number == number);
    CHECK(problems[0].what.size() < 300);
    CHECK(problems[0].advice.size() < 1000);
    // Far above what it takes, so that a busy machine passes; quadratic reading would not.
    CHECK(seconds.count() < 5.0);
  };
  std::string noise(10000000, ' ');
  std::uint32_t state = 1;
  for (char& byte : noise) byte = static_cast<char>((state = state * 1664525U + 1013904223U) >> 24);
  quickly(noise, ProblemNumber::cannot_parse);
  quickly(std::string(10000000, '\0'), ProblemNumber::cannot_parse);
  quickly(
      "\xFF\xFE"
      "A",
      ProblemNumber::cannot_parse);
  const std::string head = "# units: mm\n";
  quickly(head + std::string(10000000, 'q'), ProblemNumber::missing_column);
  quickly(head + std::string(10000000, ','), ProblemNumber::no_data);  // one blank row
  quickly(head + std::string(10000001, '"'), ProblemNumber::cannot_parse);
  quickly(head + "A,X,Y,Z\n" + std::string(10000000, '7'), ProblemNumber::cannot_parse);
  std::string bad_rows = head + "A,X,Y,Z\n";
  while (bad_rows.size() < 10000000) bad_rows += "x,y,z,w\n";
  quickly(bad_rows, ProblemNumber::wrong_type);
  std::string far_rows = head + "A,X,Y,Z\n";
  while (far_rows.size() < 10000000) far_rows += "0,9000,9000,9000\n";
  quickly(far_rows, ProblemNumber::wrong_units);
}

TEST_CASE("many problems are capped, the first of them shown in order") {
  std::string text = "# units: mm\nA,X,Y,Z\n";
  for (int i = 0; i < 200; ++i) text += "0,x,-200,-190\n";
  const Problems problems = problems_of(text);
  REQUIRE(problems.size() == 51);
  CHECK(problems[0].where.line == 3);
  CHECK(problems[49].where.line == 52);
  CHECK(problems[50].what == "and 150 more problems in this file");
}

TEST_CASE("several problems of one record come at once") {
  std::string text = replaced(full, "-254.3", "x");
  text = replaced(text, "20.75", "y");
  text = replaced(text, "# units: mm", "#");
  const Problems problems = problems_of(text);
  INFO(test::described(problems));
  REQUIRE(problems.size() == 3);
  CHECK(problems[0].number == ProblemNumber::missing_key);
  CHECK(problems[1].where.line == 8);
  CHECK(problems[2].where.line == 9);
}

TEST_CASE("without a machine file, all that needs none is checked") {
  const auto outline = outline_touches(full, "t.csv");
  REQUIRE_MESSAGE(outline.has_value(), test::described(outline.error()));
  CHECK(outline->machine_name == "Bench mill with 4th axis, invented");
  CHECK(outline->letters == "A");
  CHECK(outline->touches == 3);
  CHECK(outline->stations == 2);
  CHECK(outline->artefacts == std::vector<std::string>{"ball"});
  CHECK_FALSE(outline->inch);
  const auto far_out = outline_touches(replaced(full, "-254.3", "-99999"), "t.csv");
  CHECK(far_out.has_value());
  check_only(outline_touches(replaced(full, "-254.3", "x"), "t.csv").error(),
             ProblemNumber::wrong_type, 8, 12);
  check_only(outline_touches(replaced(full, "2,1,ball,0", "2,1,ball,3"), "t.csv").error(),
             ProblemNumber::bad_station, 8);
}

TEST_CASE("a survey written and read again is the same survey") {
  for (const Machine* base : {&fourth_axis(), &trunnion()}) {
    for (const LengthDatum datum : {LengthDatum::centre, LengthDatum::tip}) {
      Machine machine = *base;
      machine.probe.length_datum = datum;
      // Random positions say nothing about units, and a "centre" is only read where it fits a ball.
      machine.artefacts[0].at_mm.setZero();
      CHECK(rc::check([&] {
        const Survey survey = test::random_survey(machine);
        const std::string text = write_survey(survey, machine);
        const auto back = parse_survey(text, "again", machine);
        if (!back) RC_FAIL(test::described(back.error()) + "\n" + text);
        RC_ASSERT(test::same_survey(*back, survey));
        RC_ASSERT(write_survey(*back, machine) == text);
      }));
    }
  }
}

TEST_CASE("damaged records give a survey or problems, never a crash") {
  CHECK(rc::check([] {
    std::string text = full;
    const auto edits = *rc::gen::inRange(1, 8);
    for (int i = 0; i < edits; ++i) {
      const auto at = *rc::gen::inRange<std::size_t>(0, text.size() + 1);
      const auto length = *rc::gen::inRange<std::size_t>(0, 10);
      const auto piece = *rc::gen::element<std::string>("", "\"", ",", ";", "\n", "\r", "#", "nan",
                                                        "-", "1e999", "\xFF", "\t", "ball", " ");
      text.replace(at, std::min(length, text.size() - at), piece);
    }
    const auto survey = parse_survey(text, "fuzz", fourth_axis());
    const auto outline = outline_touches(text, "fuzz");
    if (!survey) {
      RC_ASSERT(!survey.error().empty());
      for (const Problem& problem : survey.error()) {
        RC_ASSERT(problem.number != ProblemNumber::not_set);
        RC_ASSERT(!problem.what.empty());
        RC_ASSERT(!problem.advice.empty());
      }
    } else {
      RC_ASSERT(!survey->touches.empty());
      RC_ASSERT(outline.has_value());
      int touches = 0;
      for (const Station& station : survey->stations) {
        RC_ASSERT(station.first_touch == touches);
        RC_ASSERT(station.touch_count > 0);
        touches += station.touch_count;
      }
      RC_ASSERT(static_cast<std::size_t>(touches) == survey->touches.size());
    }
  }));
}

namespace {

const std::string indicator_head =
    "# units: mm\n# kind: indicator\nartefact,A,X,Y,Z,I,J,K,reading,setting\n";

}  // namespace

TEST_CASE("what an indicator reads is taken back along its direction") {
  // Pushed in by 0.25: the surface stands 0.25 nearer than at zero.
  const Survey survey = survey_of(indicator_head +
                                      "ball,0,-270,-180,-190,0,-2,0,0.25,first\n"
                                      "ball,0,-270,-220,-190,0,1,0,-0.1,first\n"
                                      "ball,90,-270,-180,-190,0,-1,0,0,second\n",
                                  two_balls());
  REQUIRE(survey.touches.size() == 3);
  CHECK(survey.touches[0].kind == TouchKind::indicator);
  CHECK(survey.touches[0].shown_mm == Eigen::Vector3d(-270, -179.75, -190));
  CHECK(survey.touches[1].shown_mm == Eigen::Vector3d(-270, -219.9, -190));
  CHECK(survey.touches[0].setting == 0);
  CHECK(survey.touches[2].setting == 1);
  CHECK(survey.settings == std::vector<std::string>{"first", "second"});
}

TEST_CASE("an indicator reads in the units of the record, whatever datum lengths have") {
  const Survey survey = survey_of(
      "# units: inch\n# length_datum: tip\nA,X,Y,Z,kind,I,J,K,reading\n"
      "0,-10.6,-7,-7.5,indicator,0,-1,0,0.01\n0,-10.6,-7.9,-7,touch,0,0,-1,\n");
  CHECK(survey.touches[0].shown_mm.y() == doctest::Approx(-7 * 25.4 + 0.254).epsilon(1e-12));
  CHECK(survey.touches[0].shown_mm.z() == doctest::Approx(-7.5 * 25.4).epsilon(1e-12));
  CHECK(survey.touches[1].shown_mm.z() == doctest::Approx(-7 * 25.4 + 3.0).epsilon(1e-12));
}

TEST_CASE("an indicator row that lacks what it needs is refused") {
  const std::string row = "0,-270,-180,-190";
  check_only(problems_of("# units: mm\n# kind: indicator\nA,X,Y,Z,I,J,K\n" + row + ",0,-1,0\n"),
             ProblemNumber::missing_column);
  check_only(problems_of("# units: mm\n# kind: indicator\nA,X,Y,Z,reading\n" + row + ",0.1\n"),
             ProblemNumber::missing_column);
  check_only(
      problems_of("# units: mm\n# kind: indicator\nA,X,Y,Z,I,J,K,reading\n" + row + ",0,-1,0,\n"),
      ProblemNumber::wrong_type);
  Machine machine = fourth_axis();
  machine.artefacts[0].diameter_mm.reset();
  check_only(
      problems_of("# units: mm\n# kind: indicator\nA,X,Y,Z,I,J,K,reading\n" + row + ",0,-1,0,0.1\n",
                  machine),
      ProblemNumber::missing_key);
}

TEST_CASE("a record names its styluses in the order of their first touch") {
  const Survey survey = survey_of(
      "# units: mm\nA,X,Y,Z,stylus\n0,-270,-200,-174,long\n0,-270,-201,-174,short\n"
      "0,-270,-202,-174,long\n");
  CHECK(survey.styluses == std::vector<std::string>{"long", "short"});
  CHECK(survey.touches[1].stylus == 1);
  CHECK(survey.touches[2].stylus == 0);
}

TEST_CASE("indicator rows and styluses survive being written and read") {
  const Survey survey = survey_of(
      "# units: mm\nA,X,Y,Z,kind,I,J,K,reading,setting,stylus\n"
      "0,-270,-200,-174,touch,0,0,-1,,,a\n0,-270,-180,-190,indicator,0,-1,0,0.5,s,a\n"
      "0,-270,-201,-174,touch,0,0,-1,,,b\n0,-270,-180,-190,indicator,0,-1,0,0.25,t,a\n");
  const Survey again = survey_of(write_survey(survey, fourth_axis()));
  REQUIRE(again.touches.size() == survey.touches.size());
  for (std::size_t k = 0; k < again.touches.size(); ++k) {
    CHECK(again.touches[k].kind == survey.touches[k].kind);
    CHECK(again.touches[k].setting == survey.touches[k].setting);
    CHECK(again.touches[k].stylus == survey.touches[k].stylus);
    CHECK(again.touches[k].shown_mm == survey.touches[k].shown_mm);
  }
}

#include <rapidcheck.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "formats/file_tests.h"
#include "pivotrace/formats/machine_file.h"

using namespace pivotrace;
using test::check_only;
using test::place_in;
using test::replaced;
using test::tool_side;

namespace {

constexpr double deg = std::numbers::pi / 180.0;

std::string fourth_axis() { return test::example_text("fourth-axis.machine.toml"); }
std::string trunnion() { return test::example_text("trunnion.machine.toml"); }

Problems problems_of(const std::string& text) {
  const auto machine = parse_machine(text, "m.machine.toml");
  REQUIRE_FALSE(machine.has_value());
  return machine.error();
}

Machine machine_of(const std::string& text) {
  const auto machine = parse_machine(text, "m.machine.toml");
  REQUIRE_MESSAGE(machine.has_value(), test::described(machine.error()));
  return *machine;
}

/// The one problem after replacing `from` by `to` stands where `needle` is found then.
void check_change(const std::string& from, const std::string& to, ProblemNumber number,
                  const std::string& needle, const std::string& words = "") {
  const std::string text = replaced(fourth_axis(), from, to);
  const Place place = place_in(text, needle);
  INFO("changed to: " << to);
  const Problems problems = problems_of(text);
  check_only(problems, number, place.line, place.column);
  CHECK(problems[0].where.file == "m.machine.toml");
  if (!words.empty()) {
    CHECK_MESSAGE(test::mentions(problems[0], words), test::described(problems));
  }
}

}  // namespace

TEST_CASE("the 4th-axis example reads as it is written") {
  const auto machine = read_machine(test::example_path("fourth-axis.machine.toml"));
  REQUIRE_MESSAGE(machine.has_value(), test::described(machine.error()));
  CHECK(machine->name == "Bench mill with 4th axis, invented");
  CHECK_FALSE(machine->inch);
  CHECK(machine->linear.travel_mm[1].low == -400.0);
  CHECK(machine->linear.travel_mm[1].high == 0.0);
  CHECK(machine->linear.station_sigma_stated);
  REQUIRE(machine->rotary.size() == 1);
  const RotaryAxis& a = machine->rotary[0];
  CHECK(a.letter == 'A');
  CHECK(a.side == AxisSide::work);
  CHECK(a.along == LinearAxis::X);
  CHECK(a.direction == Eigen::Vector3d::UnitX());
  CHECK(a.positive_turn == TurnSense::left_hand);
  CHECK(a.centre_mm == Eigen::Vector3d(-300, -200, -250));
  CHECK(a.quote_at_mm == -300.0);
  CHECK(a.travel_rad.high == doctest::Approx(360.0 * deg).epsilon(1e-15));
  CHECK(a.index_sigma_rad == doctest::Approx(5.0 / 3600.0 * deg).epsilon(1e-15));
  CHECK(a.clamp == "M10");
  CHECK(a.unclamp == "M11");
  CHECK(machine->probe.stylus_diameter_u_mm == 0.0005);
  CHECK(machine->probe.holder_length_mm == 60.0);
  CHECK(machine->probe.length_datum == LengthDatum::centre);
  CHECK(machine->probe.offset_u_mm == Eigen::Vector3d(0.001, 0.001, 0.003));
  REQUIRE(machine->artefacts.size() == 1);
  const Artefact& ball = machine->artefacts[0];
  CHECK(ball.carried_by == 0);
  CHECK(ball.diameter_mm == 25.4);
  REQUIRE(ball.stem);
  CHECK(ball.stem->direction == -Eigen::Vector3d::UnitZ());
  REQUIRE(machine->obstacles.size() == 2);
  CHECK(machine->obstacles[0].shape == ObstacleShape::cylinder);
  CHECK(machine->obstacles[1].carried_by == -1);
}

TEST_CASE("the trunnion example reads as it is written, outermost axis first") {
  const Machine machine = machine_of(trunnion());
  REQUIRE(machine.rotary.size() == 2);
  CHECK(machine.rotary[0].letter == 'A');
  CHECK(machine.rotary[1].letter == 'C');
  CHECK(machine.rotary[0].travel_rad.low == doctest::Approx(-30.0 * deg).epsilon(1e-15));
  CHECK(machine.rotary[1].speed_rad_per_s == doctest::Approx(60.0 * deg).epsilon(1e-15));
  CHECK(machine.artefacts[0].carried_by == 1);
  CHECK(machine.work_chain(1) == std::vector<int>{0, 1});
  CHECK(machine.linear.scale_u[2] == doctest::Approx(8e-6).epsilon(1e-15));
  CHECK(machine.linear.squareness_u_rad[0] == doctest::Approx(10e-6).epsilon(1e-15));
  CHECK(machine.linear.rapid_mm_per_min == 12000.0);
  CHECK(machine.linear.acceleration_mm_per_s2 == 2000.0);
}

TEST_CASE("inches become mm, angles and values named in um/m stay") {
  const Machine mm = machine_of(trunnion());
  const Machine inch = machine_of(replaced(trunnion(), "units = \"mm\"", "units = \"inch\""));
  CHECK(inch.inch);
  CHECK(inch.linear.travel_mm[0].low == -500.0 * 25.4);
  CHECK(inch.linear.rapid_mm_per_min == 12000.0 * 25.4);
  CHECK(inch.linear.acceleration_mm_per_s2 == 2000.0 * 25.4);
  CHECK(inch.linear.station_sigma_mm == 0.002 * 25.4);
  CHECK(inch.linear.scale_u == mm.linear.scale_u);
  CHECK(inch.linear.squareness_u_rad == mm.linear.squareness_u_rad);
  CHECK((inch.rotary[0].centre_mm - 25.4 * mm.rotary[0].centre_mm).norm() < 1e-11);
  CHECK(inch.rotary[0].quote_at_mm == -250.0 * 25.4);
  CHECK(inch.rotary[0].travel_rad.low == mm.rotary[0].travel_rad.low);
  CHECK(inch.rotary[0].index_sigma_rad == mm.rotary[0].index_sigma_rad);
  CHECK(inch.probe.stylus_diameter_mm == 6.0 * 25.4);
  CHECK(inch.probe.touch_sigma_mm == 0.0005 * 25.4);
  CHECK(inch.artefacts[0].stem->length_mm == 47.0 * 25.4);
  CHECK(inch.artefacts[0].stem->direction == mm.artefacts[0].stem->direction);
  CHECK(inch.obstacles[0].diameter_mm == 200.0 * 25.4);
}

TEST_CASE("optional sigmas that are absent take the defaults and say so") {
  const Machine machine = machine_of(tool_side);
  CHECK(machine.linear.station_sigma_mm == default_station_sigma_mm);
  CHECK_FALSE(machine.linear.station_sigma_stated);
  CHECK(machine.probe.touch_sigma_mm == default_touch_sigma_mm);
  CHECK_FALSE(machine.probe.touch_sigma_stated);
  CHECK_FALSE(machine.rotary[0].index_sigma_stated);
  CHECK_FALSE(machine.probe.stylus_diameter_u_mm);
  CHECK_FALSE(machine.artefacts[0].diameter_mm);
  CHECK(machine.rotary[0].quote_at_mm == 0.0);
}

TEST_CASE("with the length datum at the tip, tool-side centres move down by the stylus radius") {
  const Machine centre = machine_of(tool_side);
  const Machine tip = machine_of(replaced(tool_side, "\"centre\"", "\"tip\""));
  CHECK(centre.rotary[0].centre_mm == Eigen::Vector3d(0, 0, 180));
  CHECK(tip.rotary[0].centre_mm == Eigen::Vector3d(0, 0, 177));
  // A work-side centre is a place of the machine, whatever the probe.
  const Machine work =
      machine_of(replaced(fourth_axis(), "length_datum = \"centre\"", "length_datum = \"tip\""));
  CHECK(work.rotary[0].centre_mm == Eigen::Vector3d(-300, -200, -250));
}

TEST_CASE("a slanted axis is given by its direction and quoted along it") {
  const std::string slanted =
      replaced(replaced(fourth_axis(), "along = \"X\"", "direction = [0.0, 3.0, 4.0]"),
               "quote_at = -300.0", "quote_at = -320.0");
  const Machine machine = machine_of(slanted);  // (0, .6, .8) . (-300, -200, -250) = -320
  CHECK_FALSE(machine.rotary[0].along);
  CHECK((machine.rotary[0].direction - Eigen::Vector3d(0, 0.6, 0.8)).norm() < 1e-15);
  CHECK(machine.rotary[0].quote_at_mm == -320.0);
  CHECK((machine.rotary[0].centre_mm - Eigen::Vector3d(-300, -200, -250)).norm() < 1e-12);
}

TEST_CASE("a centre within rounding of its plane is moved into it, along the axis") {
  const Machine machine =
      machine_of(replaced(fourth_axis(), "[-300.0, -200.0", "[-300.001, -200.0"));
  CHECK(machine.rotary[0].centre_mm == Eigen::Vector3d(-300, -200, -250));
}

TEST_CASE("pins, bores, flats and shared diameters") {
  const std::string more = fourth_axis() + R"(
[[artefact]]
name = "pin"
kind = "pin"
carried_by = "A"
at = [-270, -200, -190]
direction = [0, 0, 2]
length = 30
[[artefact]]
name = "pin again"
kind = "pin"
carried_by = "bed"
at = [-250, -200, -190]
direction = [0, 0, 1]
length = 30
diameter_as = "pin"
[[artefact]]
name = "ring"
kind = "bore"
carried_by = "A"
at = [-270, -200, -190]
direction = [1, 0, 0]
length = 12
diameter = 40
[[artefact]]
name = "face"
kind = "flat"
carried_by = "A"
at = [-270, -200, -190]
direction = [-1, 0, 0]
size = 20
)";
  const Machine machine = machine_of(more);
  REQUIRE(machine.artefacts.size() == 5);
  CHECK(machine.artefacts[1].direction == Eigen::Vector3d::UnitZ());
  CHECK(machine.artefacts[1].length_mm == 30.0);
  CHECK(machine.artefacts[2].diameter_as == 1);
  CHECK(machine.artefacts[2].carried_by == -1);
  CHECK(machine.artefacts[3].kind == ArtefactKind::bore);
  CHECK(machine.artefacts[4].size_mm == 20.0);

  const auto refused = [&](const std::string& from, const std::string& to) {
    return problems_of(replaced(more, from, to));
  };
  check_only(refused("diameter_as = \"pin\"", "diameter_as = \"pni\""),
             ProblemNumber::unknown_name);
  check_only(refused("diameter_as = \"pin\"", "diameter_as = \"ball\""),
             ProblemNumber::out_of_range);
  check_only(refused("diameter_as = \"pin\"", "diameter_as = \"pin again\""),
             ProblemNumber::out_of_range);
  check_only(refused("diameter_as = \"pin\"", "diameter_as = \"pin\"\ndiameter = 3"),
             ProblemNumber::out_of_range);
  check_only(refused("length = 12\n", ""), ProblemNumber::missing_key);
  check_only(refused("size = 20\n", ""), ProblemNumber::missing_key);
  check_only(refused("size = 20\n", "size = 20\ndiameter = 20\n"), ProblemNumber::unknown_key);
  check_only(refused("direction = [0, 0, 2]\n", ""), ProblemNumber::missing_key);
  check_only(refused("[0, 0, 2]", "[0, 0, 0]"), ProblemNumber::out_of_range);
}

TEST_CASE("two artefacts cannot borrow each other's diameter") {
  const std::string pair = fourth_axis() + R"(
[[artefact]]
name = "b1"
kind = "ball"
carried_by = "A"
at = [-270, -200, -190]
diameter_as = "b2"
[[artefact]]
name = "b2"
kind = "ball"
carried_by = "A"
at = [-270, -200, -190]
diameter_as = "b1"
)";
  const Problems problems = problems_of(pair);
  REQUIRE(problems.size() == 2);
  CHECK(problems[0].number == ProblemNumber::out_of_range);
  CHECK(problems[1].number == ProblemNumber::out_of_range);
}

TEST_CASE("every single fault is named with its number, line and column") {
  using P = ProblemNumber;
  check_change("format = 1", "format = 2", P::unsupported_format, "2");
  check_change("format = 1", "format = \"1\"", P::wrong_type, "\"1\"");
  check_change("format = 1\n", "", P::missing_key, "#");
  check_change("units = \"mm\"", "units = \"cm\"", P::unknown_name, "\"cm\"", "mm, inch");
  check_change("units = \"mm\"", "#", P::missing_key, "#", "units = \"inch\"");
  check_change("name = \"Bench mill with 4th axis, invented\"", "name = \"\"", P::out_of_range,
               "\"\"");
  check_change("station_sigma", "station_sgima", P::unknown_key, "station_sgima",
               "did you mean `station_sigma`?");
  check_change("station_sigma = 0.002", "station_sigma = -0.002", P::out_of_range, "-0.002");
  check_change("station_sigma = 0.002", "station_sigma = nan", P::out_of_range, "nan");
  check_change("Y = [-400.0, 0.0]", "Y = [0.0, -400.0]", P::out_of_range, "[0.0, -400.0]");
  check_change("Y = [-400.0, 0.0]", "Y = [-400.0]", P::wrong_type, "[-400.0]");
  check_change("Y = [-400.0, 0.0]", "Y = [-400.0, \"0\"]", P::wrong_type, "\"0\"");
  check_change("Y = [-400.0, 0.0], ", "", P::missing_key, "{ X");
  check_change("letter = \"A\"", "letter = \"U\"\n#", P::unknown_name, "\"U\"", "A, B, C");
  check_change("carries = \"work\"", "carries = \"part\"", P::unknown_name, "\"part\"");
  check_change("along = \"X\"", "along = \"x\"", P::unknown_name, "\"x\"", "did you mean `X`?");
  check_change("along = \"X\"\n", "", P::missing_key, "[[rotary]]");
  check_change("along = \"X\"", "along = \"X\"\ndirection = [1, 0, 0]", P::out_of_range,
               "[1, 0, 0]");
  check_change("\"left-hand\"", "\"lefthand\"", P::unknown_name, "\"lefthand\"",
               "did you mean `left-hand`?");
  check_change("centre = [-300.0, -200.0, -250.0]", "centre = [-300.0, -200.0, inf]",
               P::out_of_range, "inf");
  check_change("quote_at = -300.0", "quote_at = -299.0", P::out_of_range, "-299.0");
  check_change("limits = [-360.0, 360.0]\n", "", P::missing_key, "[[rotary]]");
  check_change("unclamp = \"M11\"\n", "", P::missing_key, "[[rotary]]");
  check_change("clamp = \"M10\"", "clamp = \"M10 (x)\"", P::out_of_range, "\"M10 (x)\"");
  check_change("stylus_diameter = 6.0", "stylus_diameter = 0", P::out_of_range,
               "0\nstylus_diameter_u");
  check_change("stylus_diameter = 6.0\n", "", P::missing_key, "[probe]");
  check_change("stylus_diameter_u = 0.0005", "stylus_diameter_u = 6.0", P::out_of_range,
               "6.0            # standard");
  check_change("length_datum = \"centre\"", "#", P::missing_key, "[probe]", "\"tip\"");
  check_change("length_datum = \"centre\"", "length_datum = \"center\"", P::unknown_name,
               "\"center\"", "did you mean `centre`?");
  check_change("touch_sigma = 0.0005", "touch_sigma = 0.0", P::out_of_range,
               "0.0                  # 1 sigma of a repeated");
  check_change("offset_u = { X", "offset_u = { A", P::unknown_key, "A = 0.001");
  check_change(", length = 60.0 }", " }", P::missing_key, "{ diameter = 40.0");
  check_change("kind = \"ball\"", "kind = \"boll\"", P::unknown_name, "\"boll\"",
               "did you mean `ball`?");
  check_change("carried_by = \"A\"", "carried_by = \"C\"", P::unknown_name, "\"C\"", "A, bed");
  check_change("diameter = 25.4", "diameter = -25.4", P::out_of_range, "-25.4");
  check_change("diameter = 25.4\n", "", P::missing_key, "0.0003", "diameter_u");
  check_change("diameter = 8.0", "diameter = 25.4", P::out_of_range, "25.4, length");
  check_change("stem = {", "direction = [0, 0, 1]\nstem = {", P::unknown_key, "[0, 0, 1]");
  check_change("name = \"headstock\"", "name = \"faceplate\"\n#", P::duplicate_name,
               "\"faceplate\"\n#");
  check_change("shape = \"cylinder\"", "shape = \"tube\"", P::unknown_name, "\"tube\"");
  check_change("to = [-325.0, -200.0, -250.0]", "to = [-345.0, -200.0, -250.0]", P::out_of_range,
               "[-345.0, -200.0, -250.0]\ndiameter");
  check_change("to = [-350.0, -110.0, -160.0]", "to = [-350.0, -110.0, -340.0]", P::out_of_range,
               "[-350.0, -110.0, -340.0]");
}

TEST_CASE("blocks that are missing, doubled or of the wrong shape") {
  using P = ProblemNumber;
  check_change("[[rotary]]", "[rotary]", P::wrong_type, "[rotary]", "[[rotary]]");
  const std::string text = fourth_axis();
  const std::string rotary =
      text.substr(text.find("[[rotary]]"), text.find("[probe]") - text.find("[[rotary]]"));
  check_only(problems_of(text + rotary), P::duplicate_name);
  const std::string third = replaced(
      trunnion(), "[probe]", replaced(rotary, "letter = \"A\"", "letter = \"B\"") + "[probe]");
  check_only(problems_of(third), P::out_of_range);
  check_only(problems_of(replaced(tool_side, "carried_by = \"bed\"", "carried_by = \"B\"")),
             P::unknown_name);
  const std::string no_artefact = tool_side;
  check_only(problems_of(no_artefact.substr(0, no_artefact.find("[[artefact]]"))), P::missing_key);
}

TEST_CASE("a gauge length is read in the units of the file, and holds the stylus") {
  const std::string stated =
      replaced(fourth_axis(), "stylus_length = 50.0", "stylus_length = 50.0\ngauge_length = 120.5");
  const Expected<Machine> machine = parse_machine(stated, "machine.toml");
  REQUIRE(machine.has_value());
  REQUIRE(machine->probe.gauge_length_mm.has_value());
  CHECK(*machine->probe.gauge_length_mm == 120.5);
  check_only(problems_of(replaced(stated, "120.5", "49.9")), ProblemNumber::out_of_range);
  check_only(problems_of(replaced(stated, "120.5", "-120.5")), ProblemNumber::out_of_range);
}

TEST_CASE("all problems of a file come at once, in file order") {
  std::string text = replaced(fourth_axis(), "units = \"mm\"", "units = \"mm\"\ncolour = 1");
  text = replaced(text, "station_sigma = 0.002", "station_sigma = -1");
  text = replaced(text, "limits = [-360.0, 360.0]", "limits = [360.0, -360.0]");
  text = replaced(text, "stylus_length = 50.0", "stylus_length = \"50\"");
  text = replaced(text, "carried_by = \"A\"", "carried_by = \"B\"");
  const Problems problems = problems_of(text);
  INFO(test::described(problems));
  REQUIRE(problems.size() == 5);
  const ProblemNumber expected[] = {ProblemNumber::unknown_key, ProblemNumber::out_of_range,
                                    ProblemNumber::out_of_range, ProblemNumber::wrong_type,
                                    ProblemNumber::unknown_name};
  for (std::size_t i = 0; i < 5; ++i) {
    CHECK(problems[i].number == expected[i]);
    if (i > 0) CHECK(problems[i].where.line > problems[i - 1].where.line);
  }
}

TEST_CASE("what is no TOML at all is refused with the place of the first fault") {
  check_only(problems_of(""), ProblemNumber::no_data);
  check_only(problems_of(" \r\n\n"), ProblemNumber::no_data);
  check_only(problems_of("format = 1\nname = \"x\n"), ProblemNumber::cannot_parse, 2);
  check_only(problems_of("format = 1\nformat = 1\n"), ProblemNumber::cannot_parse, 2);
  check_only(problems_of("touch,A,X,Y,Z\n1,0,1,2,3\n"), ProblemNumber::cannot_parse, 1);
  check_only(problems_of(std::string(1000, '\0')), ProblemNumber::cannot_parse, 1, 1);
  check_only(problems_of("\xFF\xFEu\0n\0"), ProblemNumber::cannot_parse, 1, 1);
  check_only(problems_of("x = " + std::string(100000, '[')), ProblemNumber::cannot_parse, 1);
  check_only(problems_of(std::string(10000000, 'q')), ProblemNumber::cannot_parse, 1);
}

TEST_CASE("damaged machine files give a machine or problems, never a crash") {
  const std::string good = trunnion();
  CHECK(rc::check([&](unsigned seed) {
    std::string text = good;
    const auto edits = *rc::gen::inRange(1, 6);
    for (int i = 0; i < edits; ++i) {
      const auto at = *rc::gen::inRange<std::size_t>(0, text.size());
      const auto length = *rc::gen::inRange<std::size_t>(0, 12);
      const auto piece = *rc::gen::element<std::string>(
          "", "\"", "[", "]]", "\n", "nan", "-", "1e999", "= ", "\xFF", "0", "X", "}", "#", ".");
      text.replace(at, std::min(length, text.size() - at), piece);
    }
    const auto machine = parse_machine(text, "fuzz");
    if (machine) return;
    RC_ASSERT(!machine.error().empty());
    for (const Problem& problem : machine.error()) {
      RC_ASSERT(problem.number != ProblemNumber::not_set);
      RC_ASSERT(!problem.what.empty());
      RC_ASSERT(!problem.advice.empty());
    }
    (void)seed;
  }));
}

TEST_CASE("what the file is silent about is assumed by the class, what it states is taken") {
  const Machine silent = machine_of(trunnion());
  CHECK(silent.machine_class == MachineClass::usual);
  CHECK(silent.sigma_dof == 8.0);
  CHECK_FALSE(silent.bounds.lobing_mm);
  CHECK(silent.rotary[0].axis_motion_sigma_mm == 0.001);
  CHECK_FALSE(silent.rotary[0].axis_motion_sigma_stated);
  for (const Bound& bound : bounds_in_force(silent)) CHECK(bound.source == BoundSource::assumed);
  const Machine stated = machine_of(
      replaced(replaced(trunnion(), "index_sigma_arcsec = 4.0",
                        "index_sigma_arcsec = 4.0\nindex_repeat_sigma_arcsec = 2.0\n"
                        "axis_motion_sigma = 0.003"),
               "[probe]",
               "[bounds]\nlobing = 0.0\ndrift_per_run = 0.007\nsquareness_um_per_m = 15\n"
               "scale_um_per_m = 4\nplace = 0.001\nindex_wave_arcsec = 6\n"
               "between_surveys = 0.004\n\n[probe]"));
  CHECK(stated.bounds.lobing_mm == 0.0);
  CHECK(stated.bounds.drift_per_run_mm == 0.007);
  CHECK(*stated.bounds.squareness_rad == doctest::Approx(15e-6).epsilon(1e-15));
  CHECK(*stated.bounds.index_wave_rad == doctest::Approx(6.0 / 3600.0 * deg).epsilon(1e-15));
  CHECK(stated.rotary[0].axis_motion_sigma_mm == 0.003);
  CHECK(stated.rotary[0].index_repeat_sigma_rad ==
        doctest::Approx(2.0 / 3600.0 * deg).epsilon(1e-15));
  // 0 is a statement: nothing is listed. Where standard uncertainties of scale and squareness are
  // stated, they take the place of the bounds.
  for (const Bound& bound : bounds_in_force(stated)) {
    CHECK(bound.kind != BoundKind::lobing);
    CHECK(bound.kind != BoundKind::squareness);
    CHECK(bound.kind != BoundKind::scale);
    CHECK(bound.source == BoundSource::stated);
  }
}

TEST_CASE("that nothing shifts between surveys is something else than nothing stated") {
  const Machine stated =
      machine_of(replaced(trunnion(), "[probe]", "[bounds]\nbetween_surveys = 0.0\n\n[probe]"));
  const std::vector<Bound> bounds = bounds_in_force(stated);
  const auto between = std::ranges::find(bounds, BoundKind::between_surveys, &Bound::kind);
  REQUIRE(between != bounds.end());
  CHECK(between->half_width == 0.0);
  CHECK(between->source == BoundSource::stated);
}

TEST_CASE("a missing offset of the stylus is assumed, not 0") {
  const std::string offsets = "offset_u = { X = 0.001, Y = 0.001, Z = 0.003 }";
  const Machine silent = machine_of(replaced(trunnion(), offsets, ""));
  CHECK(silent.probe.offset_u_mm == Eigen::Vector3d::Constant(0.002));
  const Machine partly = machine_of(replaced(trunnion(), offsets, "offset_u = { X = 0.0 }"));
  CHECK(partly.probe.offset_u_mm == Eigen::Vector3d(0.0, 0.002, 0.002));
  CHECK(partly.probe.offset_u_stated == std::array<bool, 3>{true, false, false});
  const Machine light = machine_of(replaced(replaced(trunnion(), offsets, ""), "units = \"mm\"",
                                            "units = \"mm\"\nclass = \"light\""));
  CHECK(light.probe.offset_u_mm == Eigen::Vector3d::Constant(0.005));
}

#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {
namespace {

Machine trunnion() {
  return read_machine(std::string(PIVOTRACE_SOURCE_DIR) + "/examples/trunnion.machine.toml")
      .value();
}

TEST_CASE("truth files: what is left out is as the machine file says") {
  const Machine machine = trunnion();
  const Expected<RehearsalTruth> truth =
      parse_truth("format = 1\nunits = \"mm\"\n", "t.toml", machine);
  REQUIRE(truth.has_value());
  const MachineState nominal = nominal_state(machine);
  CHECK(truth->survey.state.axis_lines[1].point_mm == nominal.axis_lines[1].point_mm);
  CHECK(truth->survey.state.stylus_radius_mm == nominal.stylus_radius_mm);
  CHECK(truth->survey.linear_error.isZero());
}

TEST_CASE("truth files: every key does what it says") {
  const Machine machine = trunnion();
  const Expected<RehearsalTruth> read = parse_truth(
      "format = 1\nunits = \"inch\"\n"
      "[[axis]]\nletter = \"C\"\ncentre_off = [0.01, -0.02, 0.0]\nlean_deg = { X = 0.5 }\n"
      "positive_turn = \"right-hand\"\nreversal_arcsec = 3.0\n"
      "[[axis.index_error]]\nat_deg = 90\nerror_arcsec = 7.2\n"
      "[[artefact]]\nname = \"ball\"\noff = [0.0, 0.1, 0.0]\ndiameter = 1.0\n"
      "[linear]\nscale_um_per_m = { X = 20 }\nsquareness_um_per_m = { XY = 15, ZX = -5 }\n"
      "origin = [1.0, 0.0, 0.0]\n"
      "[stylus]\ndiameter = 0.2\noffset = [0.001, 0.0, 0.0]\n"
      "[trigger]\nlobing = 0.0001\nlobing_phase_deg = 30\ndelay_s = 0.001\n"
      "[drift]\nper_hour = [0.0, 0.0, 0.0004]\n",
      "t.toml", machine);
  REQUIRE(read.has_value());
  const SurveyTruth& truth = read->survey;
  CHECK((truth.state.axis_lines[1].point_mm - nominal_state(machine).axis_lines[1].point_mm -
         Eigen::Vector3d(0.254, -0.508, 0.0))
            .norm() < 1e-12);
  // A right-handed turn about X takes the top of a Z axis towards -Y.
  CHECK(truth.state.axis_lines[1].direction.y() == doctest::Approx(-std::sin(rad_from_deg(0.5))));
  CHECK(truth.state.turns[1] == TurnSense::right_hand);
  CHECK(truth.reversal_rad[1] == doctest::Approx(rad_from_arcsec(3.0)));
  REQUIRE(read->index_errors.size() == 1);
  CHECK(read->index_errors[0].axis == 1);
  CHECK(read->index_errors[0].at_rad == doctest::Approx(rad_from_deg(90.0)));
  CHECK(read->index_errors[0].error_rad == doctest::Approx(rad_from_deg(0.002)));
  CHECK(truth.state.artefacts[0].radius_mm == doctest::Approx(12.7));
  CHECK(truth.state.artefacts[0].point_mm.y() == doctest::Approx(-220.0 + 2.54));
  CHECK(truth.linear_error(0, 0) == doctest::Approx(20e-6));
  CHECK(truth.linear_error(0, 1) == doctest::Approx(15e-6));
  // X is straight, Z leans towards +X: the frame in which `fit` states squareness.
  CHECK(truth.linear_error(0, 2) == doctest::Approx(-5e-6));
  CHECK(truth.linear_error(2, 0) == 0.0);
  CHECK(truth.linear_origin_mm.x() == doctest::Approx(25.4));
  CHECK(truth.state.stylus_radius_mm == doctest::Approx(2.54));
  CHECK(truth.state.stylus_offset_mm.x() == doctest::Approx(0.0254));
  CHECK(truth.lobing_amplitude_mm == doctest::Approx(0.00254));
  CHECK(truth.lobing_phase_rad == doctest::Approx(rad_from_deg(30.0)));
  CHECK(read->trigger_delay_s == 0.001);
  CHECK(truth.drift_mm_per_hour.z() == doctest::Approx(0.01016));
}

TEST_CASE("truth files: every mistake is reported at once, with its line") {
  const Expected<RehearsalTruth> read = parse_truth(
      "format = 1\nunits = \"mm\"\n"
      "[[axis]]\nletter = \"B\"\n"
      "[[artefact]]\nname = \"bal\"\ndiameter = -1.0\n"
      "[stylus]\noffset = [1, 2]\n"
      "[triger]\n",
      "t.toml", trunnion());
  REQUIRE_FALSE(read.has_value());
  CHECK(read.error().size() == 5);
  CHECK(read.error()[0].where.line == 4);
  CHECK(read.error()[1].where.line == 6);
  CHECK(read.error()[2].where.line == 7);
  CHECK(read.error()[3].where.line == 9);
  CHECK(read.error()[4].where.line == 10);
}

TEST_CASE("truth files: a newer format is refused") {
  CHECK_FALSE(parse_truth("format = 2\nunits = \"mm\"\n", "t.toml", trunnion()).has_value());
}

TEST_CASE("truth files: one block for each thing, and only what the thing has") {
  Machine machine = trunnion();
  const Expected<RehearsalTruth> twice = parse_truth(
      "format = 1\nunits = \"mm\"\n[[axis]]\nletter = \"C\"\n[[axis]]\nletter = \"C\"\n"
      "[[artefact]]\nname = \"ball\"\n[[artefact]]\nname = \"ball\"\n",
      "t.toml", machine);
  REQUIRE_FALSE(twice.has_value());
  REQUIRE(twice.error().size() == 2);
  CHECK(twice.error()[0].number == ProblemNumber::duplicate_name);
  CHECK(twice.error()[0].where.line == 6);
  CHECK(twice.error()[1].number == ProblemNumber::duplicate_name);
  CHECK(twice.error()[1].where.line == 10);

  const std::string ball = "format = 1\nunits = \"mm\"\n[[artefact]]\nname = \"ball\"\n";
  CHECK_FALSE(parse_truth(ball + "lean_deg = { X = 1.0 }\n", "t.toml", machine).has_value());
  CHECK(parse_truth(ball + "diameter = 25.0\n", "t.toml", machine).has_value());
  machine.artefacts[0].kind = ArtefactKind::flat;
  CHECK(parse_truth(ball + "lean_deg = { X = 1.0 }\n", "t.toml", machine).has_value());
  CHECK_FALSE(parse_truth(ball + "diameter = 25.0\n", "t.toml", machine).has_value());
}

TEST_CASE("truth files: a truth made for another machine is refused at its line") {
  const std::string text = "format = 1\nmachine = \"Other mill\"\nunits = \"mm\"\n";
  const Expected<RehearsalTruth> read = parse_truth(text, "t.toml", trunnion());
  REQUIRE_FALSE(read.has_value());
  REQUIRE(read.error().size() == 1);
  CHECK(read.error()[0].number == ProblemNumber::other_machine);
  CHECK(read.error()[0].where.line == 2);
  const Expected<TruthOutline> outline = outline_truth(text, "t.toml");
  REQUIRE(outline.has_value());
  CHECK(outline->machine_name == "Other mill");
}

}  // namespace
}  // namespace pivotrace

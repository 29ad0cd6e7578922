#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>
#include <regex>

#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/reseat.h"
#include "pivotrace/report/reseat_text.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

const ControlSheet ngc =
    read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml").value();

/// The machine of an invented result: travels and limits that hold everything.
Machine roomy_machine(const FitResult& result) {
  Machine machine;
  machine.name = result.machine_name;
  machine.linear.travel_mm.fill({-1e4, 1e4});
  for (const AxisResult& axis : result.axes) {
    RotaryAxis rotary;
    rotary.letter = axis.letter;
    rotary.side = axis.side;
    rotary.travel_rad = {-1e4, 1e4};
    machine.rotary.push_back(rotary);
  }
  return machine;
}

Expected<ReseatTable> reseat_anywhere(const FitResult& result, const ReseatRequest& request) {
  return reseat(result, roomy_machine(result), request);
}

std::vector<RotaryAngles> angles(const FitResult& result, const std::string& text) {
  const auto list = index_angles(result, {text});
  REQUIRE_MESSAGE(list.has_value(), text);
  return *list;
}

ReseatTable table(const FitResult& result, const ReseatRequest& request) {
  const auto rows = reseat_anywhere(result, request);
  for (const Problem& problem : rows ? Problems() : rows.error()) MESSAGE(describe(problem));
  REQUIRE(rows.has_value());
  return *rows;
}

SampleAxis exact_a_axis() {
  SampleAxis axis = sample_a_axis();
  axis.line = {{0.0, -200.0, -250.0}, Eigen::Vector3d::UnitX()};
  axis.turn = TurnSense::right_hand;
  return axis;
}

SampleAxis skew_b_axis() {
  SampleAxis axis;
  axis.letter = 'B';
  axis.along = LinearAxis::Y;
  axis.quoted_at_mm = -200.0;
  axis.line = {{-310.0, -200.0, -260.0}, Eigen::Vector3d(0.0002, 1.0, -0.0003).normalized()};
  return axis;
}

/// A table on a wedge: its axis lies half way between Y and Z, as on nutating heads and tables.
FitResult nutating_result() {
  FitResult result = sample_result({skew_b_axis(), sample_c_axis()});
  AxisResult& axis = result.axes[0];
  axis.along.reset();
  axis.line.direction = Eigen::Vector3d(0.0001, 1.0, 1.0).normalized();
  axis.nominal.direction = Eigen::Vector3d(0.0, 1.0, 1.0).normalized();
  return result;
}

std::vector<FitResult> every_chain() {
  return {one_axis_result(),
          sample_result({sample_c_axis()}),
          sample_result({skew_b_axis()}),
          trunnion_result(),
          sample_result({skew_b_axis(), sample_c_axis()}),
          sample_result({skew_b_axis(), sample_a_axis()}),
          nutating_result(),
          sample_result({sample_head_axis(), sample_a_axis()}),
          sample_result({sample_a_axis(), sample_head_axis(), sample_c_axis()})};
}

/// The chain written out once more with Eigen's transforms, outermost axis first.
Eigen::Isometry3d placement(const FitResult& result, const RotaryAngles& angles_rad) {
  Eigen::Isometry3d machine_from_carried = Eigen::Isometry3d::Identity();
  for (std::size_t i = 0; i < result.axes.size(); ++i) {
    const AxisResult& axis = result.axes[i];
    if (axis.side != AxisSide::work) continue;
    const double sense = axis.turn == TurnSense::right_hand ? 1.0 : -1.0;
    machine_from_carried = machine_from_carried * Eigen::Translation3d(axis.line.point_mm) *
                           Eigen::AngleAxisd(sense * angles_rad[i], axis.line.direction) *
                           Eigen::Translation3d(-axis.line.point_mm);
  }
  return machine_from_carried;
}

}  // namespace

TEST_CASE("half a turn mirrors the offset at the centre, a quarter turn follows the sense") {
  // Exact geometry: about X through (Y -200, Z -250), right-handed.
  const FitResult result = sample_result({exact_a_axis()});
  ReseatRequest request;
  request.taught_mm = {-100.0, -190.0, -220.0};
  request.targets = angles(result, "A=0,90,180,270");
  const ReseatTable rows = table(result, request);
  CHECK(rows.rows[0].offset_mm.isApprox(Eigen::Vector3d(-100, -190, -220), 1e-14));
  CHECK(rows.rows[1].offset_mm.isApprox(Eigen::Vector3d(-100, -230, -240), 1e-14));
  CHECK(rows.rows[2].offset_mm.isApprox(Eigen::Vector3d(-100, -210, -280), 1e-14));
  CHECK(rows.rows[3].offset_mm.isApprox(Eigen::Vector3d(-100, -170, -260), 1e-14));
  CHECK(rows.rows[0].U95_mm.norm() == doctest::Approx(0.0));
  // At 180 deg a centre error counts twice.
  const double U95_centre = 1.959964 * std::hypot(0.001, 0.002);
  CHECK(rows.rows[2].U95_mm.y() >= 2 * U95_centre * 0.999);
}

TEST_CASE("a left-handed axis turns the other way") {
  SampleAxis axis = exact_a_axis();
  axis.turn = TurnSense::left_hand;
  const FitResult result = sample_result({axis});
  ReseatRequest request;
  request.taught_mm = {-100.0, -190.0, -220.0};
  request.targets = angles(result, "A=90");
  CHECK(
      table(result, request).rows[0].offset_mm.isApprox(Eigen::Vector3d(-100, -170, -260), 1e-14));
}

TEST_CASE("every chain: offsets agree with the transforms written out, there and back again") {
  const auto seed = std::random_device{}();
  INFO("seed " << seed);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> turn(-3.0, 3.0);
  std::uniform_real_distribution<double> place(-400.0, 0.0);
  for (const FitResult& result : every_chain()) {
    ReseatRequest request;
    request.taught_mm = {place(random), place(random), place(random)};
    for (std::size_t i = 0; i < result.axes.size(); ++i) request.taught_at_rad[i] = turn(random);
    RotaryAngles target{};
    for (std::size_t i = 0; i < result.axes.size(); ++i) target[i] = turn(random);
    request.targets = {target};
    const Eigen::Vector3d there = table(result, request).rows[0].offset_mm;
    const Eigen::Vector3d expected = placement(result, target) *
                                     placement(result, request.taught_at_rad).inverse() *
                                     request.taught_mm;
    CHECK((there - expected).norm() < 1e-9);

    ReseatRequest back;
    back.taught_mm = there;
    back.taught_at_rad = target;
    back.targets = {request.taught_at_rad};
    CHECK((table(result, back).rows[0].offset_mm - request.taught_mm).norm() < 1e-9);
  }
}

TEST_CASE("U95 is what a simulation of the axis lines gives") {
  const FitResult result = trunnion_result();
  ReseatRequest request;
  request.taught_mm = {-250.0, -180.0, -150.0};
  request.targets = angles(result, "A=-60 C=135");
  const ReseatRow row = table(result, request).rows[0];

  const unsigned seed = 20260302;
  std::mt19937 random(seed);
  std::normal_distribution<double> gauss;
  const int count = 20000;
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  Eigen::Vector3d squares = Eigen::Vector3d::Zero();
  for (int n = 0; n < count; ++n) {
    FitResult drawn = result;
    for (AxisResult& axis : drawn.axes) {
      for (const NamedEstimate& location : axis.centre) {
        axis.line.point_mm[component(location.name)] +=
            location.estimate.u_absolute * gauss(random);
      }
      for (const NamedEstimate& angle : axis.orientation) {
        const Eigen::Vector3d about = Eigen::Vector3d::Unit(component(angle.name));
        axis.line.direction = (axis.line.direction + angle.estimate.u_absolute * gauss(random) *
                                                         about.cross(axis.line.direction))
                                  .normalized();
      }
    }
    const Eigen::Vector3d p = placement(drawn, request.targets[0]) *
                              placement(drawn, request.taught_at_rad).inverse() * request.taught_mm;
    sum += p;
    squares += (p - row.offset_mm).cwiseAbs2();
  }
  const Eigen::Vector3d sigma = (squares / count).cwiseSqrt();
  for (int k = 0; k < 3; ++k) {
    // The standard deviation of a sample of 20,000 is itself good to 0.5 %; 2 % is four of them.
    CHECK(row.U95_mm[k] == doctest::Approx(1.959964 * sigma[k]).epsilon(0.02));
  }
}

TEST_CASE("the lean no work offset takes out is told") {
  const FitResult result = one_axis_result();
  ReseatRequest request;
  request.targets = angles(result, "A=0,180");
  const ReseatTable rows = table(result, request);
  CHECK(rows.rows[0].lean_left_rad == doctest::Approx(0.0));
  // Exact geometry: half a turn about a leaning axis leaves twice the lean.
  CHECK(rows.rows[1].lean_left_rad == doctest::Approx(2 * std::atan(std::hypot(2e-4, 1e-4))));
  REQUIRE(!rows.warnings.empty());
  CHECK(rows.warnings[0].find("cannot lean") != std::string::npos);
}

TEST_CASE("running out of offsets is told in the table and refused in the program") {
  const FitResult result = one_axis_result();
  ReseatRequest request;
  request.first_offset = 7;
  request.targets = angles(result, "A=0..270/90");
  const ReseatTable rows = table(result, request);
  CHECK(rows.offsets_run_out);
  CHECK(rows.rows[2].work_offset == 9);
  CHECK(rows.rows[3].work_offset == 0);
  CHECK(reseat_text(result, request, rows).find("none left") != std::string::npos);
  const auto program = reseat_program(result, request, rows, ngc);
  REQUIRE(!program.has_value());
  CHECK(program.error()[0].number == ProblemNumber::offsets_run_out);
}

TEST_CASE("the program sets P1 to P4 after a stop, each value within half a last place") {
  const FitResult result = one_axis_result();
  ReseatRequest request;
  request.taught_mm = {-100.0, -190.0, -220.0};
  request.targets = angles(result, "A=0,90,180,270");
  const ReseatTable rows = table(result, request);
  const auto program = reseat_program(result, request, rows, ngc);
  REQUIRE(program.has_value());
  CHECK(program->find("\nM0 (MSG,read the remarks first") < program->find("\nG10"));
  const std::regex words(R"(G10 L2 P(\d) X(\S+) Y(\S+) Z(\S+))");
  int found = 0;
  for (std::sregex_iterator match(program->begin(), program->end(), words), none; match != none;
       ++match, ++found) {
    CHECK(std::stoi((*match)[1]) == found + 1);
    for (int k = 0; k < 3; ++k) {
      CHECK(std::abs(std::stod((*match)[k + 2]) - rows.rows[found].offset_mm[k]) <= 0.5e-4);
    }
  }
  CHECK(found == 4);
}

TEST_CASE("the CSV has one row for each position") {
  const FitResult result = trunnion_result();
  ReseatRequest request;
  request.targets = angles(result, "A=-90,0 C=0,45");
  const std::string csv = reseat_csv(result, request, table(result, request));
  CHECK(csv.find("offset,A_deg,C_deg,X,Y,Z,") != std::string::npos);
  CHECK(csv.find("\nP2,-90.000000,45.000000,") != std::string::npos);
}

TEST_CASE("what cannot be told is refused") {
  FitResult result = trunnion_result();
  ReseatRequest request;
  request.targets = angles(result, "C=90");
  result.axes[1].estimated = false;
  CHECK(reseat_anywhere(result, request).error()[0].number == ProblemNumber::no_such_value);
  request.targets = angles(result, "A=90");  // the unmeasured axis stays at 0
  CHECK(reseat_anywhere(result, request).has_value());
  result.usable = false;
  CHECK(reseat_anywhere(result, request).error()[0].number == ProblemNumber::not_usable);
  request.targets.clear();
  CHECK(!reseat_anywhere(one_axis_result(), request).has_value());
  request.targets.resize(1);
  request.first_offset = 10;
  CHECK(reseat_anywhere(one_axis_result(), request).error()[0].number ==
        ProblemNumber::bad_argument);
}

TEST_CASE("angles beyond the rotary limits are refused, with the axis and how many") {
  const FitResult result = trunnion_result();
  Machine machine = roomy_machine(result);
  machine.rotary[0].travel_rad = {rad_from_deg(-30.0), rad_from_deg(110.0)};
  ReseatRequest request;
  request.targets = angles(result, "A=-30,110 C=0..270/90");
  CHECK(reseat(result, machine, request).has_value());  // both limits belong to the range
  request.targets = angles(result, "A=90,120,150");
  const auto refused = reseat(result, machine, request);
  REQUIRE(!refused.has_value());
  REQUIRE(refused.error().size() == 1);
  CHECK(refused.error()[0].number == ProblemNumber::out_of_range);
  CHECK(refused.error()[0].what ==
        "A 120.000 deg, C 0.000 deg: axis A turns from -30.000 to 110.000 deg only (and 1 more)");
  request.targets = angles(result, "A=0");
  request.taught_at_rad[0] = rad_from_deg(-90.0);
  CHECK(reseat(result, machine, request).error()[0].number == ProblemNumber::out_of_range);
}

TEST_CASE("offsets outside the travel are refused in the unit asked for, unless they are meant") {
  // Exact geometry: half a turn about (Y -200, Z -250) takes Z -220 to -280.
  const FitResult result = sample_result({exact_a_axis()});
  Machine machine = roomy_machine(result);
  machine.linear.travel_mm = {Range{-600, 0}, Range{-400, 0}, Range{-254, 0}};
  ReseatRequest request;
  request.unit = LengthUnit::inch;
  request.taught_mm = {-101.6, -190.0, -220.0};
  request.targets = angles(result, "A=0,180");
  const auto refused = reseat(result, machine, request);
  REQUIRE(!refused.has_value());
  REQUIRE(refused.error().size() == 1);
  CHECK(refused.error()[0].what ==
        "A 180.000 deg: Z of the work offset would be -11.02362, outside the travel -10.00000 to "
        "0.00000 inch");
  request.outside_travel_allowed = true;
  const auto allowed = reseat(result, machine, request);
  REQUIRE(allowed.has_value());
  CHECK(allowed->warnings[0] == refused.error()[0].what);

  request.outside_travel_allowed = false;
  request.taught_mm *= mm_per_inch;  // inches taken for inches twice
  const auto twice = reseat(result, machine, request);
  REQUIRE(!twice.has_value());
  for (const Problem& problem : twice.error()) {
    CHECK(problem.what.find("of the taught offset is") != std::string::npos);
  }
}

TEST_CASE("the file of another machine is refused") {
  const FitResult result = one_axis_result();
  Machine machine = roomy_machine(result);
  machine.name = "Another mill";
  ReseatRequest request;
  request.targets = angles(result, "A=0");
  CHECK(reseat(result, machine, request).error()[0].number == ProblemNumber::other_machine);
  machine = roomy_machine(trunnion_result());
  machine.name = result.machine_name;
  CHECK(reseat(result, machine, request).error()[0].number == ProblemNumber::other_machine);
}

TEST_CASE("every form of the offsets carries both cautions") {
  const FitResult result = one_axis_result();
  ReseatRequest request;
  request.targets = angles(result, "A=0,90");
  const ReseatTable rows = table(result, request);
  for (const std::string& made :
       {reseat_text(result, request, rows), reseat_csv(result, request, rows),
        reseat_json(result, request, rows), reseat_program(result, request, rows, ngc).value()}) {
    const std::string text = std::regex_replace(made, std::regex(R"(\)?\n\(?)"), " ");
    CAPTURE(text);
    CHECK(std::regex_search(text, std::regex("caution", std::regex::icase)));
    CHECK(text.find("qualified people come first") != std::string::npos);
    CHECK(text.find("spindle nose comes out wrong") != std::string::npos);
  }
}

TEST_CASE("an unconfirmed sense of turn is a warning") {
  FitResult result = one_axis_result();
  result.axes[0].turn_confirmed = false;
  ReseatRequest request;
  request.targets = angles(result, "A=0");
  const ReseatTable rows = table(result, request);
  REQUIRE(rows.warnings.size() == 1);
  CHECK(rows.warnings[0].find("which way axis A turns") != std::string::npos);
}

TEST_CASE("index angles: lists, ranges, combinations") {
  const FitResult result = trunnion_result();
  CHECK(angles(result, "A=0,90,180").size() == 3);
  CHECK(angles(result, "A=0..270/90").size() == 4);
  CHECK(angles(result, "A=10..-10/-5").size() == 5);
  CHECK(angles(result, "C=0..0.3/0.1").size() == 4);
  const auto both = angles(result, "A=-90,0 C=0,45,90");
  REQUIRE(both.size() == 6);
  CHECK(both[1][0] == doctest::Approx(-std::numbers::pi / 2));
  CHECK(both[1][1] == doctest::Approx(std::numbers::pi / 4));
  for (const char* wrong : {"A", "A=", "A=x", "A=1,", "A=,1", "A=0..90", "A=0..90/0", "A=0..90/-1",
                            "A=nan", "A=1 A=2", "90", "A=0..1e9/1", "A=1e400"}) {
    CHECK_MESSAGE(!index_angles(result, {wrong}).has_value(), wrong);
  }
  const auto listed = index_angles(result, {"A=0,C=0", "A=45 C=90", "A=90,0,C=180", "A=0 C=0"});
  REQUIRE(listed.has_value());
  REQUIRE(listed->size() == 4);  // a position named twice needs one offset
  CHECK((*listed)[1][0] == doctest::Approx(std::numbers::pi / 4));
  CHECK((*listed)[1][1] == doctest::Approx(std::numbers::pi / 2));
  CHECK((*listed)[2][0] == doctest::Approx(std::numbers::pi / 2));
  CHECK((*listed)[3][1] == doctest::Approx(std::numbers::pi));
  CHECK(index_angles(result, {"A=90", "A=30"})->size() == 2);
  CHECK(index_angles(result, {})->empty());
  CHECK(!index_angles(result, {"A=0..3590/1", "C=1..100/1"}).has_value());
  CHECK(index_angles(result, {"B=1"}).error()[0].number == ProblemNumber::no_such_value);
  CHECK(angles_text(result, both[1]) == "A -90.000 deg, C 45.000 deg");
}

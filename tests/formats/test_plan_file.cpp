#include <doctest/doctest.h>
#include <fmt/format.h>

#include <fstream>
#include <sstream>

#include "example_machine.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/make_plan.h"

using namespace pivotrace;
using pivotrace::testing::example;

namespace {

const std::string root = PIVOTRACE_SOURCE_DIR;

std::string text_of(const std::string& path) {
  std::ifstream stream(path);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  const std::size_t at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), by);
}

}  // namespace

TEST_CASE("a plan survives writing and reading, with its fingerprint") {
  for (const char* name : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    CAPTURE(name);
    const Machine machine = example(name);
    const auto outcome = make_plan(machine, {});
    REQUIRE(outcome.has_value());
    const Plan& plan = outcome->plan;
    const auto read = parse_plan(write_plan(plan, machine, "m.toml"), "p.plan.toml", machine);
    REQUIRE(read.has_value());
    CHECK(identity_of(*read) == identity_of(plan));
    REQUIRE(read->stations.size() == plan.stations.size());
    CHECK(read->predicted.size() == plan.predicted.size());
    for (std::size_t i = 0; i < plan.stations.size(); ++i) {
      REQUIRE(read->stations[i].touches.size() == plan.stations[i].touches.size());
      for (std::size_t k = 0; k < plan.stations[i].touches.size(); ++k) {
        const PlannedTouch &a = plan.stations[i].touches[k], &b = read->stations[i].touches[k];
        CHECK(a.artefact == b.artefact);
        CHECK(a.around_rad == doctest::Approx(b.around_rad).epsilon(1e-7));
        CHECK(a.up_rad == doctest::Approx(b.up_rad).epsilon(1e-7));
        CHECK(a.along_mm == doctest::Approx(b.along_mm).epsilon(1e-7));
      }
    }
  }
}

TEST_CASE("mistakes in a plan are told with line and column") {
  const Machine machine = example("fourth-axis");
  const auto outcome = make_plan(machine, {});
  REQUIRE(outcome.has_value());
  const std::string good = write_plan(outcome->plan, machine, "m.toml");
  const auto problem_in = [&](const std::string& text) {
    const auto read = parse_plan(text, "p.plan.toml", machine);
    REQUIRE_FALSE(read.has_value());
    return read.error().front();
  };
  const Problem misspelt = problem_in(replaced(good, "clearance =", "clearence ="));
  CHECK(misspelt.number == ProblemNumber::unknown_key);
  CHECK(misspelt.advice.find("clearance") != std::string::npos);
  CHECK(misspelt.where.line > 10);
  CHECK(problem_in(replaced(good, "artefact = \"ball\"", "artefact = \"bal\"")).number ==
        ProblemNumber::unknown_name);
  CHECK(problem_in(replaced(good, "touch = [\"ball 1\"]", "touch = [\"ball 9\"]")).number ==
        ProblemNumber::unknown_name);
  CHECK(problem_in(replaced(good, "machine = \"", "machine = \"other ")).number ==
        ProblemNumber::other_machine);
  CHECK(problem_in(replaced(good, "kind = \"plan\"", "kind = \"shopping\"")).number ==
        ProblemNumber::unsupported_format);
  CHECK(problem_in("format = ").number == ProblemNumber::cannot_parse);
}

TEST_CASE(
    "control sheets: shipped ones read, misspelt keys are refused, folders are searched in order") {
  for (const char* name : {"demo-control", "ngc"}) {
    const auto sheet = read_control_sheet(root + "/routines/" + name + ".toml");
    REQUIRE(sheet.has_value());
    CHECK(sheet->name == name);
  }
  const std::string demo_control = text_of(root + "/routines/demo-control.toml");
  const auto misspelt = parse_control_sheet(
      replaced(demo_control, "skip = \"G38.2\"", "skipp = \"G38.2\""), "d.toml");
  REQUIRE_FALSE(misspelt.has_value());
  CHECK(misspelt.error().front().number == ProblemNumber::unknown_key);
  CHECK(misspelt.error().front().where.line > 0);
  const auto setup =
      parse_control_sheet(replaced(demo_control, "\"absolute\"", "\"absolut\""), "d.toml");
  REQUIRE_FALSE(setup.has_value());
  CHECK(setup.error().front().advice.find("absolute") != std::string::npos);
  CHECK(find_control_sheet("demo-control", {"/nowhere", root + "/routines"}) ==
        root + "/routines/demo-control.toml");
  CHECK(find_control_sheet("./own.toml", {}) == "./own.toml");
  const auto missing = find_control_sheet("nosuch", {root + "/routines"});
  REQUIRE_FALSE(missing.has_value());
  CHECK(missing.error().front().advice.find("routines") != std::string::npos);
}

TEST_CASE("the touches an RS274/NGC control keeps in parameters become a survey") {
  const Machine machine = example("pin-in-chuck");  // length datum at the tip
  const auto outcome = make_plan(machine, {});
  REQUIRE(outcome.has_value());
  const Plan& plan = outcome->plan;
  const Survey meant = nominal_survey(machine, plan);
  std::string file = "5161\t0.000000\n5220\t1.000000\n";
  const auto row = [&](int number, double value) {
    file += fmt::format("{}\t{:.6f}\n", number, value);
  };
  std::string results;
  std::swap(file, results);
  row(1000, identity_number_of(plan));
  row(1001, plan.touch_count());
  for (int i = 0; i < plan.touch_count(); ++i) {
    for (int axis = 0; axis < 3; ++axis) {
      const double tip = axis == 2 ? machine.probe.stylus_radius_mm() : 0.0;
      row(1002 + 3 * i + axis, meant.touches[static_cast<std::size_t>(i)].shown_mm[axis] - tip);
    }
  }
  file += results;
  CHECK(looks_like_parameters(file));
  const auto read = [&](const std::string& text) {
    return parse_parameters(text, "ngc.var").and_then([&](const auto& parameters) {
      return survey_from_parameters(parameters, "ngc.var", machine, plan, ngc_results);
    });
  };
  const auto survey = read(file);
  REQUIRE(survey.has_value());
  REQUIRE(survey->touches.size() == meant.touches.size());
  for (std::size_t i = 0; i < meant.touches.size(); ++i) {
    CHECK((survey->touches[i].shown_mm - meant.touches[i].shown_mm).norm() < 2e-6);
    CHECK(survey->touches[i].artefact == meant.touches[i].artefact);
    CHECK(survey->touches[i].station == meant.touches[i].station);
  }
  SUBCASE("in variables the shop chose") {
    std::string moved;
    for (int k = 0; k < 2 + 3 * plan.touch_count(); ++k) {
      moved += fmt::format("{}\t{:.6f}\n", 7300 + k, parse_parameters(file, "x")->at(1000 + k));
    }
    // The number of the plan in some other variable, with no touches after it, misleads nobody.
    moved = fmt::format("12\t{}\n13\t0.5\n", identity_number_of(plan)) + moved;
    const auto elsewhere = parse_planned_touches(moved, "listing.txt", machine, plan);
    REQUIRE(elsewhere.has_value());
    REQUIRE(elsewhere->touches.size() == survey->touches.size());
    for (std::size_t i = 0; i < survey->touches.size(); ++i) {
      CHECK(elsewhere->touches[i].shown_mm == survey->touches[i].shown_mm);
    }
    const auto none = parse_planned_touches("1\t0\n2\t0\n3\t0\n4\t0\n", "x", machine, plan);
    REQUIRE_FALSE(none.has_value());
    CHECK(none.error().front().number == ProblemNumber::missing_key);
  }
  SUBCASE("of another plan") {
    const auto other = read(replaced(file, std::to_string(identity_number_of(plan)), "123456"));
    REQUIRE_FALSE(other.has_value());
    CHECK(other.error().front().number == ProblemNumber::other_machine);
  }
  SUBCASE("program stopped half way") {
    const auto half = read(replaced(file, fmt::format("1001\t{}", plan.touch_count()), "1001\t7"));
    REQUIRE_FALSE(half.has_value());
    CHECK(half.error().front().what.find("7 of") != std::string::npos);
  }
  SUBCASE("parameter not saved") {
    const auto gap = read(replaced(file, "1005\t", "9005\t"));
    REQUIRE_FALSE(gap.has_value());
    CHECK(gap.error().front().what.find("1005") != std::string::npos);
  }
  SUBCASE("broken number") {
    const auto broken = read(replaced(file, "1005\t", "1005\tx"));
    REQUIRE_FALSE(broken.has_value());
    CHECK(broken.error().front().where.line > 0);
  }
  CHECK(parameter_rows(plan, ngc_results).find("1001\t0.000000\n") != std::string::npos);
}

TEST_CASE("a control's own log is read as any touch record") {
  const Machine machine = example("fourth-axis");
  const std::string log =
      "TOUCH,STATION,ARTEFACT,A,X,Y,Z,FLIP,UNITS\n"
      "1,1,BALL,0.0000,-254.3000,-200.0000,-190.0000,0,MM\n"
      "2,1,BALL,0.0000,-270.0000,-184.3000,-190.0000,0,MM\n";
  const auto survey = parse_survey(log, "log.txt", machine);
  REQUIRE(survey.has_value());
  CHECK(survey->touches.size() == 2);
  CHECK(survey->touches[0].shown_mm.x() == doctest::Approx(-254.3));
  const std::string comma =
      "touch;station;artefact;A;X;Y;Z;flip;units\n"
      "1;1;ball;0;-254,3000;-200,0000;-190,0000;0;mm\n";
  REQUIRE(parse_survey(comma, "log.txt", machine).has_value());
  const auto mixed = parse_survey(replaced(log, "0,MM\n2", "0,INCH\n2"), "log.txt", machine);
  CHECK_FALSE(mixed.has_value());
  const auto without = parse_survey(replaced(log, ",UNITS", ",NOTE"), "log.txt", machine);
  REQUIRE_FALSE(without.has_value());
  CHECK(without.error().front().number == ProblemNumber::missing_key);
}

#include <rapidcheck.h>

#include <nlohmann/json.hpp>
#include <numbers>

#include "formats/file_tests.h"
#include "formats/result_tests.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using test::check_only;
using test::replaced;

namespace {

constexpr double deg = std::numbers::pi / 180.0;

Problems problems_of(const std::string& text) {
  const auto result = parse_result(text, "r.json");
  REQUIRE_FALSE(result.has_value());
  return result.error();
}

/// Small and complete; the numbers are invented.
FitResult small_result() {
  FitResult result;
  result.usable = true;
  result.machine_name = "Mill";
  result.made = "2026-03-05T15:00:00Z";
  result.version = "0.1.0";
  AxisResult axis;
  axis.letter = 'A';
  axis.estimated = true;
  axis.along = LinearAxis::X;
  axis.quoted_at_mm = -300.0;
  axis.line = {{-300.0, -200.01, -250.02}, {1.0, 0.0, 0.0}};
  axis.nominal = {{-300.0, -200.0, -250.0}, {1.0, 0.0, 0.0}};
  axis.turn = TurnSense::left_hand;
  const double infinite = std::numeric_limits<double>::infinity();
  axis.centre = {{axis_value('A', ValueKind::centre, LinearAxis::Y),
                  {-200.01, 0.001, 0.002, 0.0015, 0.003, infinite, infinite}},
                 {axis_value('A', ValueKind::centre, LinearAxis::Z),
                  {-250.02, 0.001, 0.0023, 0.0015, 0.0035, 8.0, 40.5}}};
  axis.orientation = {{axis_value('A', ValueKind::orientation, LinearAxis::Y),
                       {0.5 * deg, 0.01 * deg, 0.02 * deg, 0.01 * deg, 0.02 * deg, 8, 8}}};
  result.axes = {axis};
  result.artefacts.resize(1);
  result.artefacts[0].name = "ball";
  result.fit.index_sigma_rad = {{'A', 5.0 / 3600.0 * deg}};
  result.stations.resize(1);
  result.stations[0].label = "1";
  result.stations[0].angles_rad[0] = 90.0 * deg;
  result.touches.resize(1);
  result.findings = {
      {FindingCode::arc_too_short, Severity::note, finding::AsWritten{"text", "advice"}}};
  result.covariance.names = {axis_value('A', ValueKind::centre, LinearAxis::Y),
                             axis_value('A', ValueKind::orientation, LinearAxis::Y)};
  result.covariance.repeatable = Eigen::Matrix2d{{1.0, 2.0 * deg}, {2.0 * deg, 3.0 * deg * deg}};
  result.covariance.absolute = result.covariance.repeatable;
  return result;
}

}  // namespace

TEST_CASE("the JSON has the documented keys, in mm and degrees, as another reader sees them") {
  const auto json = nlohmann::json::parse(write_result(small_result(), words_of));
  CHECK(json["format"] == "pivotrace-result-2");
  CHECK(json["usable"] == true);
  CHECK(json["made"]["version"] == "0.1.0");
  const auto& axis = json["axes"]["A"];
  CHECK(axis["point"] == nlohmann::json({-300.0, -200.01, -250.02}));
  CHECK(axis["direction"] == nlohmann::json({1.0, 0.0, 0.0}));
  CHECK(axis["quoted_at"]["X"] == -300.0);
  CHECK(axis["turn"] == "left-hand");
  CHECK(axis["centre"]["Y"]["value"] == -200.01);
  CHECK(axis["centre"]["Y"]["U95_absolute"] == 0.003);
  CHECK(axis["centre"]["Y"]["dof"].is_null());
  CHECK(axis["centre"]["Z"]["dof"] == 8.0);
  CHECK(axis["orientation"]["B"]["value_deg"] == 0.5);
  CHECK(axis["orientation"]["B"]["U95_deg"] == 0.02);
  // 300 tan(0.5 deg)
  CHECK(axis["orientation"]["B"]["mm_per_300"].get<double>() ==
        doctest::Approx(2.61806).epsilon(1e-5));
  CHECK(axis["deviation_ranges"]["F_R"].is_null());
  CHECK(json["artefacts"]["ball"]["kind"] == "ball");
  CHECK(json["fit"]["index_sigma_arcsec"]["A"] == 5.0);
  CHECK(json["stations"][0]["angles_deg"]["A"] == 90.0);
  CHECK(json["touches"][0]["sigma_mm"].is_null());
  CHECK(json["findings"][0]["severity"] == "note");
  CHECK(json["covariance"]["units"] == nlohmann::json({"mm", "deg"}));
  CHECK(json["covariance"]["repeatable"][0][1].get<double>() ==
        doctest::Approx(2.0).epsilon(1e-14));
  CHECK(json["covariance"]["repeatable"][1][1].get<double>() ==
        doctest::Approx(3.0).epsilon(1e-14));
}

TEST_CASE("a result written before there was one spelling of every value is read as well") {
  std::string text = write_result(small_result(), words_of);
  text = replaced(text, "pivotrace-result-2", "pivotrace-result-1");
  text = replaced(text, "\"centre\"", "\"location\"");
  text = replaced(text, "A.centre.Y", "A.location.Y");
  const auto result = parse_result(text, "r.json");
  REQUIRE_MESSAGE(result.has_value(), test::described(result.error()));
  const std::string differs = test::difference(small_result(), *result, angle_round_trip_tolerance);
  CHECK_MESSAGE(differs.empty(), differs);
}

TEST_CASE(
    "the units of the machine file come back, and a file that does not say them is of a machine in "
    "mm") {
  FitResult inch = small_result();
  inch.inch = true;
  const std::string text = write_result(inch, words_of);
  CHECK(nlohmann::json::parse(text)["machine_units"] == "inch");
  CHECK(parse_result(text, "r.json")->inch);
  CHECK_FALSE(parse_result(write_result(small_result(), words_of), "r.json")->inch);
  CHECK_FALSE(parse_result(replaced(text, "  \"machine_units\": \"inch\",\n", ""), "r.json")->inch);
  CHECK_FALSE(parse_result(replaced(text, "\"inch\"", "\"furlong\""), "r.json").has_value());
}

TEST_CASE("no limit of the degrees of freedom and not run are told apart on reading") {
  const auto result = parse_result(write_result(small_result(), words_of), "r.json");
  REQUIRE_MESSAGE(result.has_value(), test::described(result.error()));
  CHECK(std::isinf(result->axes[0].centre[0].estimate.dof));
  CHECK(result->axes[0].centre[1].estimate.dof == 8.0);
  CHECK(std::isnan(result->axes[0].lean.dof));
  CHECK(result->axes[0].side == AxisSide::work);
  CHECK_FALSE(result->touches[0].w);
}

TEST_CASE("a result read for its values is the whole one without its lists") {
  CHECK(rc::check([] {
    const std::string text = write_result(test::some_result(), words_of);
    const auto whole = parse_result(text, "r.json");
    const auto values = parse_result_values(text, "r.json");
    RC_ASSERT(whole.has_value());
    RC_ASSERT(values.has_value());
    FitResult bare = *whole;
    bare.touches.clear();
    bare.stations.clear();
    bare.budget.clear();
    bare.bounds.clear();
    bare.findings.clear();
    bare.effects.clear();
    const std::string differs = test::difference(bare, *values, 0.0);
    if (!differs.empty()) RC_FAIL("differs: " + differs);
  }));
}

TEST_CASE("what is wrong with a result is said alike however it is read") {
  const std::string good = write_result(small_result(), words_of);
  CHECK(rc::check([&] {
    const auto length = *rc::gen::inRange<std::size_t>(0, good.size() - 2);
    const auto whole = parse_result(good.substr(0, length), "r.json");
    const auto values = parse_result_values(good.substr(0, length), "r.json");
    RC_ASSERT_FALSE(whole.has_value());
    RC_ASSERT_FALSE(values.has_value());
    RC_ASSERT(test::described(whole.error()) == test::described(values.error()));
  }));
}

TEST_CASE("whatever a result holds survives writing and reading") {
  CHECK(rc::check([] {
    const FitResult result = test::some_result();
    const std::string text = write_result(result, words_of);
    const auto back = parse_result(text, "r.json");
    if (!back) RC_FAIL(test::described(back.error()));
    const std::string differs = test::difference(result, *back, angle_round_trip_tolerance);
    if (!differs.empty()) RC_FAIL("differs: " + differs + "\n" + text);
    // Written again it is the same text: nothing creeps, however often a result is rewritten.
    const auto again = parse_result(write_result(*back, words_of), "r.json");
    RC_ASSERT(again.has_value());
    FitResult first = *back;
    FitResult second = *again;
    // Covariances and effects are multiplied by factors: they may still differ in the last place.
    first.covariance = {};
    second.covariance = {};
    first.effects.clear();
    second.effects.clear();
    first.gains = {};
    second.gains = {};
    RC_ASSERT(test::difference(first, second, 0.0).empty());
  }));
}

TEST_CASE("text that is no UTF-8 does not make the file unreadable") {
  FitResult result = small_result();
  result.touches[0].label =
      "20 \xB0"
      "C";
  const auto back = parse_result(write_result(result, words_of), "r.json");
  REQUIRE(back.has_value());
  CHECK(back->touches[0].label ==
        "20 \xEF\xBF\xBD"
        "C");
}

TEST_CASE("broken JSON is refused with line and column") {
  const std::string good = write_result(small_result(), words_of);
  check_only(problems_of(""), ProblemNumber::no_data);
  check_only(problems_of("{\n  \"format\": pivot\n}\n"), ProblemNumber::cannot_parse, 2, 13);
  check_only(problems_of(good.substr(0, good.size() / 2)), ProblemNumber::cannot_parse);
  check_only(problems_of(good + "x"), ProblemNumber::cannot_parse);
  check_only(problems_of(std::string(100, '\0')), ProblemNumber::cannot_parse, 1, 1);
  check_only(problems_of(std::string(1000000, '[')), ProblemNumber::cannot_parse, 1);
  check_only(problems_of(std::string(10000000, 'q')), ProblemNumber::cannot_parse, 1, 1);
  check_only(problems_of("{\"a\": 1e999}"), ProblemNumber::out_of_range);
}

TEST_CASE("JSON of another kind or version is refused") {
  check_only(problems_of("{}"), ProblemNumber::unsupported_format);
  check_only(problems_of("[1, 2]"), ProblemNumber::unsupported_format);
  check_only(problems_of("3"), ProblemNumber::unsupported_format);
  const Problems newer = problems_of(
      replaced(write_result(small_result(), words_of), "pivotrace-result-2", "pivotrace-result-3"));
  check_only(newer, ProblemNumber::unsupported_format);
  CHECK(test::mentions(newer[0], "newer"));
}

TEST_CASE("missing, unknown and mistyped keys are named by their path") {
  const std::string good = write_result(small_result(), words_of);
  const auto refused = [&](const std::string& from, const std::string& to, ProblemNumber number,
                           const std::string& path) {
    INFO(path);
    const Problems problems = problems_of(replaced(good, from, to));
    check_only(problems, number);
    CHECK_MESSAGE(test::mentions(problems[0], "`" + path + "`"), test::described(problems));
  };
  using P = ProblemNumber;
  refused("\"usable\": true,", "", P::missing_key, "usable");
  refused("\"value\": -200.01, ", "", P::missing_key, "axes.A.centre.Y.value");
  refused("\"U95_absolute\": 0.003", "\"U95_absolut\": 1, \"U95_absolute\": 0.003", P::unknown_key,
          "axes.A.centre.Y.U95_absolut");
  refused("\"value\": -200.01", "\"value\": \"-200.01\"", P::wrong_type, "axes.A.centre.Y.value");
  refused("\"usable\": true", "\"usable\": 1", P::wrong_type, "usable");
  refused("\"touches\": 0", "\"touches\": 99999999999", P::wrong_type, "artefacts.ball.touches");
  refused("\"iterations\": -1", "\"iterations\": 18446744073709551615", P::wrong_type,
          "fit.iterations");
  refused("[-300, -200.01, -250.02]", "[-300, -200.01]", P::wrong_type, "axes.A.point");
  refused("\"left-hand\"", "\"left\"", P::wrong_type, "axes.A.turn");
  refused("\"severity\": \"note\"", "\"severity\": \"bad\"", P::wrong_type, "findings[0].severity");
  refused("{\"A\": 90}", "{\"B\": 90, \"A\": 90}", P::unknown_key, "stations[0].angles_deg.B");
  refused("[\"mm\", \"deg\"]", "[\"mm\", \"mm\"]", P::out_of_range, "covariance.units");
  refused("{\"X\": -300}", "{\"W\": -300}", P::wrong_type, "axes.A.quoted_at");
  refused("[-300, -200.01, -250.02]", "[-300, null, -250.02]", P::out_of_range, "axes.A");
}

TEST_CASE("damaged results give a result or problems, never a crash") {
  const std::string good = write_result(small_result(), words_of);
  CHECK(rc::check([&] {
    std::string text = good;
    const auto edits = *rc::gen::inRange(1, 4);
    for (int i = 0; i < edits; ++i) {
      const auto at = *rc::gen::inRange<std::size_t>(0, text.size());
      const auto length = *rc::gen::inRange<std::size_t>(0, 10);
      const auto piece = *rc::gen::element<std::string>("", "\"", "null", "[", "]", "{", "}", ",",
                                                        "1e999", "-", "\xFF", "true", ":", "0");
      text.replace(at, std::min(length, text.size() - at), piece);
    }
    const auto result = parse_result(text, "fuzz");
    if (result) return;
    RC_ASSERT(!result.error().empty());
    for (const Problem& problem : result.error()) {
      RC_ASSERT(problem.number != ProblemNumber::not_set);
      RC_ASSERT(!problem.what.empty());
      RC_ASSERT(!problem.advice.empty());
    }
  }));
}

// Decision rule: ISO 14253-1 and JCGM 106:2012 (guarded acceptance). The worked cases below are
// derived here from the rule; the probabilities are those of any table of the normal distribution.
#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/judge.h"
#include "pivotrace/report/judge_text.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

Limit limit(const std::string& value, std::optional<double> low, std::optional<double> high,
            LimitUnit unit = LimitUnit::automatic) {
  Limit l;
  l.value = value;
  l.low = low;
  l.high = high;
  l.unit = unit;
  return l;
}

Limits limits(std::vector<Limit> list) {
  Limits all;
  all.limits = std::move(list);
  return all;
}

JudgeReport report(const FitResult& result, const Limits& all, const JudgeInputs& inputs = {}) {
  const auto judged = judge(result, all, inputs);
  for (const Problem& problem : judged ? Problems() : judged.error()) MESSAGE(describe(problem));
  REQUIRE(judged.has_value());
  return *judged;
}

ProblemNumber refused(const FitResult& result, const Limits& all, const JudgeInputs& inputs = {}) {
  const auto judged = judge(result, all, inputs);
  REQUIRE(!judged.has_value());
  return judged.error()[0].number;
}

PartEnvelope part(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
  PartEnvelope envelope;
  envelope.from_mm = from;
  envelope.to_mm = to;
  envelope.at = {"A=0", "A=180"};
  return envelope;
}

/// A-axis result whose machine file missed the centre by (dy, dz) and which does not lean.
FitResult missed_centre(double dy, double dz) {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d::UnitX();
  FitResult result = sample_result({axis});
  result.axes[0].nominal.point_mm = result.axes[0].line.point_mm - Eigen::Vector3d(0, dy, dz);
  return result;
}

}  // namespace

TEST_CASE("the three zones of the decision rule, closed at their ends") {
  // Limits 10 to 20 with a guard band of 1.
  const auto v = [](double y) { return verdict_of(y, 1.0, 10.0, 20.0); };
  CHECK(v(15.0) == Verdict::conforms);
  CHECK(v(11.0) == Verdict::conforms);
  CHECK(v(19.0) == Verdict::conforms);
  CHECK(v(10.999) == Verdict::not_proven);
  CHECK(v(10.0) == Verdict::not_proven);
  CHECK(v(9.0) == Verdict::not_proven);
  CHECK(v(8.999) == Verdict::does_not_conform);
  CHECK(v(21.001) == Verdict::does_not_conform);
  CHECK(verdict_of(9.0, 0.0, 10.0, 20.0) == Verdict::does_not_conform);  // simple acceptance
  CHECK(verdict_of(10.0, 0.0, 10.0, 20.0) == Verdict::conforms);
  CHECK(verdict_of(5.0, 1.0, std::nullopt, 6.0) == Verdict::conforms);  // one-sided
  CHECK(verdict_of(not_run, 1.0, 10.0, 20.0) == Verdict::not_proven);
  CHECK(verdict_of(15.0, not_run, 10.0, 20.0) == Verdict::not_proven);
  // Guard bands that meet leave no acceptance zone.
  CHECK(verdict_of(15.0, 5.1, 10.0, 20.0) == Verdict::not_proven);
}

TEST_CASE("probability of conformance is that of the normal table") {
  CHECK(conformance_probability(10.0, 1.0, std::nullopt, 10.0) == doctest::Approx(0.5));
  CHECK(conformance_probability(9.0, 1.0, std::nullopt, 10.0) ==
        doctest::Approx(0.8413).epsilon(1e-4));
  CHECK(conformance_probability(10.0 - 1.6449, 1.0, std::nullopt, 10.0) ==
        doctest::Approx(0.95).epsilon(1e-4));
  CHECK(conformance_probability(0.0, 1.0, -2.0, 2.0) == doctest::Approx(0.9545).epsilon(1e-4));
  CHECK(conformance_probability(3.0, 0.0, 2.0, 4.0) == 1.0);
  CHECK(conformance_probability(5.0, 0.0, 2.0, 4.0) == 0.0);
}

TEST_CASE("a value on the edge of the acceptance zone has at least 97.5 percent on its side") {
  // With a guard band of U95 = 1.96 u: derived here.
  CHECK(conformance_probability(10.0 - 1.959964, 1.0, std::nullopt, 10.0) ==
        doctest::Approx(0.975).epsilon(1e-6));
}

TEST_CASE("a result is judged value by value, the worst decides") {
  // Centre Y -200.0123, U95 0.0044.
  const JudgeReport all = report(one_axis_result(), limits({limit("A.centre.Y", -200.1, -200.0),
                                                            limit("A.centre.Y", -200.1, -200.01),
                                                            limit("A.centre.Y", -200.0, -199.9)}));
  CHECK(all.judgements[0].verdict == Verdict::conforms);
  CHECK(all.judgements[1].verdict == Verdict::not_proven);
  CHECK(all.judgements[2].verdict == Verdict::does_not_conform);
  CHECK(all.verdict == Verdict::does_not_conform);
  CHECK(settling_text(all.judgements[0]).empty());
  CHECK(settling_text(all.judgements[1]).find("U95 of 0.0023 mm or less") != std::string::npos);
  CHECK(settling_text(all.judgements[2]).find("out by 0.0123 mm") != std::string::npos);
}

TEST_CASE("what would settle it: stations while they help, then the probe") {
  FitResult result = one_axis_result();
  result.stations.resize(8);
  // Nine tenths of the variance fall with the number of stations. Needed: half the U95, so a
  // quarter of the variance: 0.1 + 0.9 * 8 / n = 0.25, n = 48. Derived here.
  const ValueName centre_y = axis_value('A', ValueKind::centre, LinearAxis::Y);
  const BudgetSource station{SourceKind::station, '\0', {}};
  const BudgetSource offset{SourceKind::effect, '\0', {EffectKind::stylus_offset, 1}};
  result.budget = {{centre_y, station, 0.9}, {centre_y, offset, 0.1}};
  const double U95 = 1.959964 * std::hypot(0.001, 0.002);
  const Limits half = limits({limit("A.centre.Y", -200.5, -200.0123 + 0.5 * U95)});
  CHECK(settling_text(report(result, half).judgements[0]).find("about 48 stations in place of 8") !=
        std::string::npos);
  result.budget = {{centre_y, station, 0.5}, {centre_y, offset, 0.5}};
  const std::string settles = settling_text(report(result, half).judgements[0]);
  CHECK(settles.find("more stations alone cannot do it: 50 percent") != std::string::npos);
  CHECK(settles.find("stylus offset Y") != std::string::npos);
}

TEST_CASE("leans are judged in degrees, seconds of arc or mm over 300 mm") {
  // 0.0002 over 1 is 0.06 mm over 300 mm is 41.25 arcsec is 0.011459 deg; U95 is 11 % of that.
  for (const auto& [unit, high] :
       {std::pair{LimitUnit::mm_per_300, 0.07}, std::pair{LimitUnit::arcsec, 48.0},
        std::pair{LimitUnit::deg, 0.0135}}) {
    CHECK(report(one_axis_result(), limits({limit("A.orientation.C", std::nullopt, high, unit)}))
              .verdict == Verdict::conforms);
    CHECK(report(one_axis_result(),
                 limits({limit("A.orientation.C", std::nullopt, 0.7 * high, unit)}))
              .verdict == Verdict::does_not_conform);
  }
  CHECK(refused(one_axis_result(), limits({limit("A.centre.Y", 0, 1, LimitUnit::deg)})) ==
        ProblemNumber::wrong_units);
}

TEST_CASE("deviation ranges are judged with the noise of a touch") {
  FitResult result = one_axis_result();
  result.fit.touch_sigma_mm = 0.001;
  result.axes[0].ranges.F_R = 0.010;
  const Judgement j = report(result, limits({limit("A.F_R", std::nullopt, 0.012)})).judgements[0];
  CHECK(j.U95 == doctest::Approx(1.959964 * std::sqrt(2.0) * 0.001));
  CHECK(j.verdict == Verdict::not_proven);
  CHECK(refused(result, limits({limit("A.F_T", std::nullopt, 0.012)})) ==
        ProblemNumber::no_such_value);
}

TEST_CASE("a change is judged with the repeatable uncertainties of both results") {
  const FitResult now = one_axis_result();
  SampleAxis before = sample_a_axis();
  before.line.point_mm.y() += 0.010;
  FitResult previous = sample_result({before});
  Limit change = limit("A.centre.Y", -0.02, 0.02);
  change.change = true;
  JudgeInputs inputs;
  inputs.previous = &previous;
  const Judgement j = report(now, limits({change}), inputs).judgements[0];
  CHECK(j.measured == doctest::Approx(-0.010));
  CHECK(j.U95 == doctest::Approx(1.959964 * 0.001 * std::sqrt(2.0)));
  CHECK(j.verdict == Verdict::conforms);
  CHECK(refused(now, limits({change})) == ProblemNumber::bad_argument);
  previous.usable = false;
  CHECK(refused(now, limits({change}), inputs) == ProblemNumber::not_usable);
  previous.usable = true;
  previous.machine_name = "another";
  CHECK(refused(now, limits({change}), inputs) == ProblemNumber::other_machine);
}

TEST_CASE("features at 0 and 180 deg: the step is twice the centre error, exactly") {
  const FitResult result = missed_centre(0.03, -0.04);
  const auto positions = index_angles(result, {"A=0,180"});
  REQUIRE(positions.has_value());
  const auto mismatches =
      part_mismatches(result, nullptr, part({-350, -250, -300}, {-250, -150, -200}), *positions);
  REQUIRE(mismatches.size() == 3);
  CHECK(mismatches[0].worst_mm == doctest::Approx(2 * 0.05).epsilon(1e-12));
  CHECK(mismatches[0].step_mm.isApprox(2 * Eigen::Vector3d(0, 0.03, -0.04), 1e-9));
  CHECK(mismatches[1].worst_mm < 1e-9);  // the new centre
  CHECK(mismatches[2].worst_mm < 1e-9);
  // Twice the centre's U95, plus what the leans add away from the quoted plane.
  const double U95_centre = 1.959964 * std::hypot(0.001, 0.002);
  CHECK(mismatches[0].U95_mm >= 2 * U95_centre * 0.999);
  CHECK(mismatches[0].U95_mm <= 2 * U95_centre * 1.5);
}

TEST_CASE("features a quarter turn apart: sqrt 2 times the centre error") {
  // |(R - 1) d| = 2 |d| sin(t / 2): exact geometry.
  const FitResult result = missed_centre(0.03, -0.04);
  const auto positions = index_angles(result, {"A=0,90"});
  const auto mismatches =
      part_mismatches(result, nullptr, part({-350, -250, -300}, {-250, -150, -200}), *positions);
  CHECK(mismatches[0].worst_mm == doctest::Approx(0.05 * std::sqrt(2.0)).epsilon(1e-9));
}

TEST_CASE("a lean stays in the part when only the centre is written, and grows with distance") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.001, 0.0).normalized();
  const FitResult result = sample_result({axis});
  const auto positions = index_angles(result, {"A=0,180"});
  // 100 mm along the axis from the quoted plane (X -300), on the axis: half a turn turns the lean
  // round, so the part meets itself 2 * 0.001 * 100 mm off. Exact to second order in the lean.
  const Eigen::Vector3d p(-200.0, -200.0123, -250.0342);
  const auto mismatches = part_mismatches(result, nullptr, part(p, p), *positions);
  CHECK(mismatches[1].worst_mm == doctest::Approx(0.2).epsilon(1e-3));
  CHECK(mismatches[2].worst_mm < 1e-9);
}

TEST_CASE("the mismatch a part allows is judged with the new centre") {
  Limits all;
  all.part = part({-350, -250, -300}, {-250, -150, -200});
  all.part->mismatch_mm = 0.05;
  CHECK(report(missed_centre(0.03, -0.04), all).verdict == Verdict::conforms);
  CHECK(report(missed_centre(0.03, -0.04), all).mismatches.size() == 3);
  all.part->mismatch_mm = 0.001;
  CHECK(report(missed_centre(0.03, -0.04), all).verdict == Verdict::not_proven);
}

TEST_CASE("limits that cannot be used are refused") {
  const FitResult result = one_axis_result();
  CHECK(refused(result, limits({})) == ProblemNumber::no_data);
  CHECK(refused(result, limits({limit("A.centre.Y", {}, {})})) == ProblemNumber::out_of_range);
  CHECK(refused(result, limits({limit("A.centre.Y", 2, 1)})) == ProblemNumber::out_of_range);
  CHECK(refused(result, limits({limit("A.centre.Q", 1, 2)})) == ProblemNumber::no_such_value);
  Limits other = limits({limit("A.centre.Y", -300, 0)});
  other.machine = "another";
  CHECK(refused(result, other) == ProblemNumber::other_machine);
  Limits lonely;
  lonely.part = part({0, 0, 0}, {1, 1, 1});
  lonely.part->at = {"A=0"};
  CHECK(refused(result, lonely) == ProblemNumber::out_of_range);
  FitResult unusable = result;
  unusable.usable = false;
  CHECK(refused(unusable, limits({limit("A.centre.Y", -300, 0)})) == ProblemNumber::not_usable);
}

TEST_CASE("limits in inches: parts are told in inches as well") {
  Limits all = limits({limit("A.centre.Y", -7.88, -7.87)});
  all.inch = true;
  all.part = part({-350, -250, -300}, {-250, -150, -200});
  all.part->mismatch_mm = 0.0254;
  const FitResult result = one_axis_result();
  const JudgeReport judged = report(result, all);
  const std::string text = judge_text(result, judged);
  CHECK_MESSAGE(text.find(" mm") == std::string::npos, text);
  CHECK(text.find("limits up to 0.00100 inch") != std::string::npos);
  all.inch = false;
  all.limits.front() = limit("A.centre.Y", -200.1, -200.0);
  const JudgeReport in_mm = report(result, all);
  CHECK(judged.judgements.back().measured ==
        doctest::Approx(in_mm.judgements.back().measured / 25.4));
  CHECK(judged.judgements.back().verdict == in_mm.judgements.back().verdict);
}

TEST_CASE("the report reads with units, guard band and verdict, the JSON holds the same") {
  Limits all = limits({limit("A.centre.Y", -200.1, -200.0)});
  all.part = part({-350, -250, -300}, {-250, -150, -200});
  const FitResult result = one_axis_result();
  const JudgeReport judged = report(result, all);
  const std::string text = judge_text(result, judged);
  for (const char* wanted : {"A.centre.Y: conforms", "measured -200.0123 mm, U95 0.0044 mm",
                             "guard band 0.0044 mm", "percent", "old values", "new values",
                             "limits -200.1000 to -200.0000 mm", "All in all: conforms"}) {
    CHECK_MESSAGE(text.find(wanted) != std::string::npos, wanted << " in\n" << text);
  }
  const auto json = nlohmann::json::parse(judge_json(result, judged));
  CHECK(json["verdict"] == "conforms");
  CHECK(json["judgements"][0]["measured"].get<double>() == doctest::Approx(-200.0123));
  CHECK(json["part"].size() == 3);
}

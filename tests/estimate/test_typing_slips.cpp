// Hand-typed lists of ball centres: the row, the coordinate and the likely slip are named, whatever
// the slip is. Lists made up from a known truth; the reading noise is a few um, as typed to 0.001 mm.
#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <optional>

#include "pivotrace/base/length.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/survey/random_stream.h"
#include "scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

using Kind = finding::TypingSlip::Kind;

/// Six centres on a full turn, each read to a few um.
Survey typed_list(const Machine& machine, const MachineState& truth, std::uint64_t seed) {
  std::vector<double> angles_rad;
  for (const double deg : {0.0, 60.0, 120.0, 180.0, 240.0, 300.0}) {
    angles_rad.push_back(rad_from_deg(deg));
  }
  Survey survey = centre_rows(machine, truth, angles_rad);
  RandomStream random(seed);
  for (Touch& row : survey.touches) {
    for (int k = 0; k < 3; ++k) row.shown_mm[k] += 0.003 * random.normal();
  }
  return survey;
}

struct List {
  Scenario scenario = fourth_axis(6, 4, 1);
  Survey survey = typed_list(scenario.machine, scenario.truth.state, 5);
};

/// The one finding about a row left out.
const finding::LeftOut& left_out(const FitResult& result) {
  const finding::LeftOut* found = nullptr;
  for (const Finding& finding : result.findings) {
    if (const auto* left = std::get_if<finding::LeftOut>(&finding.details)) {
      REQUIRE(found == nullptr);
      found = left;
    }
  }
  REQUIRE(found != nullptr);
  return *found;
}

FitResult fitted(const Machine& machine, const Survey& survey) {
  const auto result = fit_survey(machine, survey, {});
  INFO((result ? std::string() : describe(result.error().front())));
  REQUIRE(result.has_value());
  return *result;
}

bool says(const FitResult& result, const std::string& words) {
  for (const Finding& finding : result.findings) {
    if (what_of(finding).find(words) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("a row with one digit wrong is named with its coordinate and the amount") {
  List list;
  list.survey.touches[3].shown_mm.y() += 1.0;
  const FitResult result = fitted(list.scenario.machine, list.survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.who.touch == "4");
  CHECK(left.slip->kind == Kind::one_digit);
  CHECK(left.slip->coordinate == 1);
  CHECK(left.slip->off_mm == doctest::Approx(1.0));
  CHECK(says(result, "Y reads +1.0000 mm off"));
}

TEST_CASE("on a machine in inches the digit and the words are those of inches") {
  List list;
  list.scenario.machine.inch = true;
  list.survey.touches[3].shown_mm.y() += 0.1 * mm_per_inch;
  const FitResult result = fitted(list.scenario.machine, list.survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.slip->kind == Kind::one_digit);
  CHECK(left.slip->off_mm == doctest::Approx(2.54));
  CHECK(says(result, "Y reads +0.10000 inch off"));
  CHECK_FALSE(says(result, " mm"));
}

TEST_CASE("two coordinates swapped in a row are named") {
  List list;
  std::swap(list.survey.touches[5].shown_mm.y(), list.survey.touches[5].shown_mm.z());
  const FitResult result = fitted(list.scenario.machine, list.survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.slip->kind == Kind::swapped_coordinates);
  CHECK(left.slip->coordinate == 1);
  CHECK(left.slip->other == 2);
  CHECK(says(result, "it agrees with Y and Z swapped"));
}

TEST_CASE("a lost sign is named") {
  // Y 20 mm from the machine's zero, so that either sign lies within the travel.
  Scenario s = fourth_axis(6, 4, 1);
  s.machine.linear.travel_mm[1] = {-200.0, 200.0};
  s.machine.rotary[0].centre_mm.y() = -20.0;
  s.machine.artefacts[0].at_mm.y() = -20.0;
  Survey survey = typed_list(s.machine, leaning_truth(s.machine, 0.0004, 0.15).state, 5);
  survey.touches[1].shown_mm.y() *= -1.0;
  const FitResult result = fitted(s.machine, survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.slip->kind == Kind::lost_sign);
  CHECK(left.slip->coordinate == 1);
}

TEST_CASE(
    "a row under an angle at which it was not measured is named with the angle it agrees with") {
  List list;
  list.survey.stations[1].angles_rad[0] = rad_from_deg(90.0);
  const FitResult result = fitted(list.scenario.machine, list.survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.who.touch == "2");
  CHECK(left.slip->kind == Kind::other_angle);
  CHECK(says(result, "it agrees with A at 60 deg instead of 90"));
}

TEST_CASE("a row booked to an angle that other rows have is named with the angle it agrees with") {
  List list;
  // Row 3 was measured at 60 deg again, and typed under 120.
  list.survey.touches[2].shown_mm =
      list.survey.touches[1].shown_mm + Eigen::Vector3d(0.002, -0.001, 0.003);
  const FitResult result = fitted(list.scenario.machine, list.survey);
  const finding::LeftOut left = left_out(result);
  REQUIRE(left.slip.has_value());
  CHECK(left.slip->kind == Kind::other_angle);
  CHECK(deg_from_rad(left.slip->angle_rad) == doctest::Approx(60.0));
  CHECK(says(result, "it agrees with A at 60 deg instead of 120"));
}

TEST_CASE("a row that is off in every coordinate is left out without a slip being offered") {
  List list;
  list.survey.touches[4].shown_mm += Eigen::Vector3d(0.37, -0.52, 0.81);
  CHECK_FALSE(left_out(fitted(list.scenario.machine, list.survey)).slip.has_value());
}

TEST_CASE(
    "the verdict on the turn sense is the same whether a bad row is left out or was never typed") {
  List list;
  Survey spoiled = list.survey;
  std::swap(spoiled.touches[5].shown_mm.y(), spoiled.touches[5].shown_mm.z());
  Survey shorter = list.survey;
  shorter.touches.pop_back();
  shorter.stations.pop_back();
  const FitResult with_row = fitted(list.scenario.machine, spoiled);
  const FitResult without_row = fitted(list.scenario.machine, shorter);
  CHECK(with_row.axes[0].turn_confirmed);
  CHECK(without_row.axes[0].turn_confirmed);
  CHECK_FALSE(says(with_row, "do not prove `positive_turn`"));
}

TEST_CASE("a wrong turn sense is named though two rows were typed wrong as well") {
  List list;
  std::swap(list.survey.touches[5].shown_mm.y(), list.survey.touches[5].shown_mm.z());
  list.survey.touches[3].shown_mm.y() += 2.54;
  list.scenario.machine.rotary[0].positive_turn = TurnSense::right_hand;
  const auto result = fit_survey(list.scenario.machine, list.survey, {});
  REQUIRE_FALSE(result.has_value());
  CHECK(result.error().front().number == ProblemNumber::wrong_turn_sense);
  CHECK(result.error().front().what.find("once rows 4 and 6 are left out") != std::string::npos);
}

TEST_CASE(
    "a centre far from where the file places it is a finding, and swapped numbers are named") {
  List list;
  CHECK_FALSE(says(fitted(list.scenario.machine, list.survey), "from where the machine file"));
  Machine swapped = list.scenario.machine;
  std::swap(swapped.rotary[0].centre_mm.y(), swapped.rotary[0].centre_mm.z());
  swapped.rotary[0].centre_mm.z() += 15.0;
  swapped.rotary[0].centre_mm.y() -= 15.0;
  Machine elsewhere = list.scenario.machine;
  elsewhere.rotary[0].centre_mm += Eigen::Vector3d(0, 164, 0);
  CHECK(says(fitted(elsewhere, list.survey), "more than anyone's rough guess is off"));
  CHECK_FALSE(says(fitted(elsewhere, list.survey), "swapped"));
  const FitResult result = fitted(swapped, list.survey);
  CHECK(says(result, "with Y and Z of `centre` swapped"));
}

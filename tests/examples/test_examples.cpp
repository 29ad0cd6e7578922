#include <doctest/doctest.h>

#include <algorithm>

#include "estimate/solver_agreement.h"
#include "examples/example_surveys.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using namespace pivotrace::examples;

namespace {

const std::string folder = PIVOTRACE_SOURCE_DIR "/examples/";

std::vector<ExampleSurvey> all_surveys() {
  auto surveys = demo_surveys(folder);
  const auto spoiled = spoiled_surveys(folder);
  REQUIRE(surveys.has_value());
  REQUIRE(spoiled.has_value());
  const auto year = year_surveys(folder);
  REQUIRE(year.has_value());
  surveys->insert(surveys->end(), spoiled->begin(), spoiled->end());
  surveys->insert(surveys->end(), year->begin(), year->end());
  return *surveys;
}

/// A shipped record fitted as a user would.
Expected<FitResult> fitted(const ExampleSurvey& example) {
  const auto machine = read_machine(folder + example.machine_file);
  REQUIRE(machine.has_value());
  const auto survey = read_survey(folder + example.file, *machine);
  REQUIRE(survey.has_value());
  return fit_survey(*machine, *survey);
}

bool has_finding(const FitResult& result, const std::string& code) {
  return std::any_of(result.findings.begin(), result.findings.end(),
                     [&](const Finding& finding) { return text_of(finding.code) == code; });
}

std::string codes(const FitResult& result) {
  std::string text;
  for (const Finding& finding : result.findings) text += text_of(finding.code) + " ";
  return text;
}

}  // namespace

TEST_CASE("the shipped touch records are what their generator writes") {
  for (const ExampleSurvey& example : all_surveys()) {
    INFO(example.file, ": cmake --build --preset dev --target write_examples writes it anew");
    const auto machine = read_machine(folder + example.machine_file);
    const auto shipped = read_file(folder + example.file);
    REQUIRE(shipped.has_value());
    CHECK(*shipped == record_text(example, *machine));
  }
}

TEST_CASE(
    "the fit of each demo holds its stated truth within U95, and finds nothing to complain of") {
  const auto demos = demo_surveys(folder);
  REQUIRE(demos.has_value());
  for (const ExampleSurvey& demo : *demos) {
    INFO(demo.file);
    const auto result = fitted(demo);
    REQUIRE(result.has_value());
    CHECK(result->usable);
    INFO("findings: ", codes(*result));
    CHECK(result->findings.empty());
    for (std::size_t k = 0; k < result->axes.size(); ++k) {
      const AxisResult& axis = result->axes[k];
      const Line& truth = demo.truth.state.axis_lines[k];
      CHECK(axis.turn_confirmed);
      for (const NamedEstimate& location : axis.centre) {
        const Eigen::Vector3d at = pierce_plane(truth, axis.nominal.direction, axis.quoted_at_mm);
        INFO(text_of(location.name));
        CHECK(std::abs(location.estimate.value - at[component(location.name)]) <=
              location.estimate.U95);
      }
      // Each orientation angle is off by at most the angle between the lines.
      double widest = 0.0;
      for (const NamedEstimate& orientation : axis.orientation) {
        widest = std::max(widest, orientation.estimate.U95);
      }
      CHECK((axis.line.direction - truth.direction).norm() <= std::sqrt(2.0) * widest);
    }
  }
}

TEST_CASE("each spoiled survey is explained in words, and the clean one does not say the same") {
  const auto spoiled = spoiled_surveys(folder);
  REQUIRE(spoiled.has_value());
  CHECK(spoiled->size() == 10);
  for (const ExampleSurvey& example : *spoiled) {
    INFO(example.file, " must say ", example.finding);
    const auto result = fitted(example);
    if (example.finding[0] == 'P') {
      REQUIRE_FALSE(result.has_value());
      bool named = false;
      for (const Problem& problem : result.error()) {
        named = named || describe(problem).rfind(example.finding, 0) == 0;
        CHECK_FALSE(problem.advice.empty());
      }
      CHECK(named);
      continue;
    }
    REQUIRE(result.has_value());
    INFO("findings: ", codes(*result));
    CHECK(has_finding(*result, example.finding));
    for (const Finding& finding : result->findings) CHECK_FALSE(advice_of(finding).empty());
  }
}

TEST_CASE("a touch or station left out leaves the answer where the clean survey puts it") {
  const auto demos = demo_surveys(folder);
  const auto spoiled = spoiled_surveys(folder);
  for (const ExampleSurvey& example : *spoiled) {
    if (example.finding != "bad-touch" && example.finding != "station-slipped") continue;
    INFO(example.file);
    const auto result = fitted(example);
    REQUIRE(result.has_value());
    CHECK(result->usable);
    const AxisResult& axis = result->axes.front();
    const Eigen::Vector3d at =
        pierce_plane(example.truth.state.axis_lines[0], axis.nominal.direction, axis.quoted_at_mm);
    for (const NamedEstimate& location : axis.centre) {
      CHECK(std::abs(location.estimate.value - at[component(location.name)]) <=
            location.estimate.U95);
    }
  }
}

TEST_CASE("both solvers say the same of every shipped record, spoiled ones included") {
  for (const ExampleSurvey& example : all_surveys()) {
    INFO(example.file);
    const auto machine = read_machine(folder + example.machine_file);
    const auto survey = read_survey(folder + example.file, *machine);
    REQUIRE(survey.has_value());
    const testing::Disagreement found = testing::between_solvers(*machine, *survey);
    CHECK_MESSAGE(found.text().empty(), found.text());
  }
}

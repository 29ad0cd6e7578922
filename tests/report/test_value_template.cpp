#include <doctest/doctest.h>

#include "pivotrace/report/value_template.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::string filled(const std::string& text, TemplateOptions options = {}) {
  options.date = "2026-03-02T09:00:00Z";
  const auto result = fill_template(one_axis_result(), text, options);
  for (const Problem& problem : result ? Problems() : result.error()) MESSAGE(describe(problem));
  REQUIRE(result.has_value());
  return *result;
}

Problems refused(const std::string& text) {
  const auto result = fill_template(one_axis_result(), text, {});
  REQUIRE(!result.has_value());
  return result.error();
}

}  // namespace

TEST_CASE("a template takes values by name, with their unit and uncertainty") {
  CHECK(
      filled("Y={{A.centre.Y}} {{A.centre.Y.unit}} +-{{A.centre.Y.U95}} [{{A.centre.Y.symbol}}]") ==
      "Y=-200.0123 mm +-0.0044 [E_Y0A]");
  CHECK(filled("{{A.centre.Y.opposite}}") == "200.0123");
  TemplateOptions inch;
  inch.unit = LengthUnit::inch;
  CHECK(filled("{{A.centre.Y}}", inch) == "-7.87450");
  CHECK(filled("{{machine}} {{written}}") == "invented trial machine 2026-03-02T09:00:00Z");
}

TEST_CASE("a template can list every value") {
  const std::string text = filled("{{#value}}\n{{name}}={{number}};{{unit}}\n{{/value}}\n");
  CHECK(text.starts_with("A.centre.Y=-200.0123;mm\nA.centre.Z=-250.0342;mm\n"));
}

TEST_CASE("nothing is escaped") {
  FitResult result = one_axis_result();
  result.machine_name = "<A & \"B\">";
  const auto text = fill_template(result, "{{machine}}", {});
  REQUIRE(text.has_value());
  CHECK(*text == result.machine_name);
}

TEST_CASE("a name that does not exist is refused, not left out") {
  const Problems problems = refused("{{A.centre.y}} {{#values}}{{/values}} {{> part}}");
  REQUIRE(problems.size() == 3);
  for (const Problem& problem : problems) CHECK(problem.number == ProblemNumber::no_such_value);
}

TEST_CASE("a broken template is refused") {
  for (const char* text : {"{{#value}}", "{{A.centre.Y", "{{/value}}"}) {
    CHECK(refused(text)[0].number == ProblemNumber::cannot_parse);
  }
}

TEST_CASE("no template is filled from an unusable result") {
  FitResult result = one_axis_result();
  result.usable = false;
  const auto text = fill_template(result, "plain", {});
  REQUIRE(!text.has_value());
  CHECK(text.error()[0].number == ProblemNumber::not_usable);
}

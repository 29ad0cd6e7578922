#include <doctest/doctest.h>

#include <cmath>
#include <set>

#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

double value_of(const FitResult& result, const std::string& name) {
  const auto values = pivot_values(result);
  REQUIRE(values.has_value());
  const auto found = find_pivot_value(*values, name);
  REQUIRE_MESSAGE(found.has_value(), name);
  return found->value;
}

}  // namespace

TEST_CASE("the values of a one-axis result are its line in the quoted plane") {
  const FitResult result = one_axis_result();
  CHECK(value_of(result, "A.centre.Y") == doctest::Approx(-200.0123).epsilon(1e-12));
  CHECK(value_of(result, "A.centre.Z") == doctest::Approx(-250.0342).epsilon(1e-12));
  CHECK(value_of(result, "A.quoted_at.X") == -300.0);
  // Slope 0.0002 in Y over 300 mm is 0.06 mm; a fall in Z along +X is a positive turn about Y.
  CHECK(value_of(result, "A.slope.C") == doctest::Approx(0.06).epsilon(1e-9));
  CHECK(value_of(result, "A.slope.B") == doctest::Approx(0.03).epsilon(1e-9));
  CHECK(value_of(result, "A.orientation.C") == doctest::Approx(std::atan(0.0002)).epsilon(1e-9));
  CHECK(value_of(result, "A.lean") ==
        doctest::Approx(std::atan(std::hypot(0.0002, 0.0001))).epsilon(1e-6));
}

TEST_CASE("values carry the absolute uncertainty, because they are going to be written") {
  const auto values = pivot_values(one_axis_result());
  REQUIRE(values.has_value());
  const auto centre = find_pivot_value(*values, "A.centre.Y");
  REQUIRE(centre.has_value());
  CHECK(centre->U95 == doctest::Approx(1.959964 * std::hypot(0.001, 0.002)));
  CHECK(centre->U95_repeatable == doctest::Approx(1.959964 * 0.001));
  CHECK(iso_symbol(centre->name) == "E_Y0A");
}

TEST_CASE("two axes bring the distance, the crossing angle and the feet of the common normal") {
  const FitResult result = trunnion_result();
  const CommonNormal normal = common_normal(result.axes[0].line, result.axes[1].line);
  CHECK(value_of(result, "A-C.distance") == doctest::Approx(normal.signed_distance_mm));
  CHECK(value_of(result, "A-C.crossing") == doctest::Approx(normal.crossing_rad));
  CHECK(value_of(result, "A-C.foot_on_A.X") == doctest::Approx(normal.foot_on_first_mm.x()));
  CHECK(value_of(result, "A-C.foot_on_C.Z") == doctest::Approx(normal.foot_on_second_mm.z()));
}

TEST_CASE("names are unique and every value has a one-line meaning") {
  const auto values = pivot_values(trunnion_result());
  REQUIRE(values.has_value());
  std::set<std::string> names;
  for (const PivotValue& value : *values) {
    const std::string name = text_of(value.name);
    CHECK_MESSAGE(names.insert(name).second, name);
    CHECK_MESSAGE(!value.meaning.empty(), name);
    CHECK_MESSAGE(value.meaning.find('\n') == std::string::npos, name);
  }
}

TEST_CASE("a head brings its pivot lengths") {
  FitResult result = sample_result({sample_head_axis()});
  Estimate arm;
  arm.value = 250.1234;
  arm.U95 = arm.U95_absolute = 0.006;
  result.axes[0].pivot_to_stylus = arm;
  arm.value = 200.1234;
  result.axes[0].pivot_to_gauge = arm;
  CHECK(value_of(result, "B.pivot_to_stylus") == 250.1234);
  CHECK(value_of(result, "B.pivot_to_gauge") == 200.1234);
}

TEST_CASE("an axis that never turned has no values") {
  FitResult result = trunnion_result();
  result.axes[1].estimated = false;
  const auto values = pivot_values(result);
  REQUIRE(values.has_value());
  for (const PivotValue& value : *values) {
    CHECK_MESSAGE(value.name.axis == 'A', text_of(value.name));
  }
}

TEST_CASE("a value without an uncertainty is not a value") {
  FitResult result = one_axis_result();
  result.axes[0].centre[0].estimate.U95_absolute = not_run;
  const auto values = pivot_values(result);
  REQUIRE(values.has_value());
  CHECK(!find_pivot_value(*values, "A.centre.Y").has_value());
}

TEST_CASE("an unusable result is refused with every error finding repeated") {
  FitResult result = one_axis_result();
  result.usable = false;
  result.findings = {{FindingCode::turn_sense_wrong, Severity::error,
                      finding::AsWritten{"axis A turns the other way", "turn it"}},
                     {FindingCode::bad_touch, Severity::warning,
                      finding::AsWritten{"touch 3 is off", "repeat it"}},
                     {FindingCode::arc_too_short, Severity::error,
                      finding::AsWritten{"the arc is too short", "turn further"}}};
  const auto values = pivot_values(result);
  REQUIRE(!values.has_value());
  REQUIRE(values.error().size() == 2);
  CHECK(values.error()[0].number == ProblemNumber::not_usable);
  CHECK(values.error()[0].what.find("turns the other way") != std::string::npos);
  CHECK(values.error()[1].advice == "turn further");
}

TEST_CASE("an unusable result without findings is refused all the same") {
  FitResult result = one_axis_result();
  result.usable = false;
  REQUIRE(!pivot_values(result).has_value());
}

TEST_CASE("a mistyped name is answered with the nearest ones") {
  const auto values = pivot_values(one_axis_result());
  REQUIRE(values.has_value());
  const auto found = find_pivot_value(*values, "a.center.Y");
  REQUIRE(!found.has_value());
  CHECK(found.error()[0].number == ProblemNumber::no_such_value);
  CHECK(found.error()[0].advice.find("A.centre.Y") != std::string::npos);
}

TEST_CASE("inches are 25.4 mm and angles stay degrees") {
  // A slope of 0.001: 0.3 over 300 mm, 0.012 over 12 inch.
  CHECK(shown_value(QuantityKind::slope, 0.3, LengthUnit::inch) == doctest::Approx(0.012));
  CHECK(shown_value(QuantityKind::length, 25.4, LengthUnit::inch) == 1.0);
  CHECK(shown_value(QuantityKind::angle, rad_from_deg(0.5), LengthUnit::inch) ==
        doctest::Approx(0.5));
}

TEST_CASE("numbers as text: no minus zero, uncertainty never rounded down") {
  CHECK(fixed_text(-0.00001, 4) == "0.0000");
  CHECK(fixed_text(-0.00006, 4) == "-0.0001");
  CHECK(signed_text(0.0, 3) == "+0.000");
  CHECK(uncertainty_text(0.00401, 3) == "0.005");
  CHECK(uncertainty_text(0.004, 3) == "0.004");
  CHECK(uncertainty_text(not_run, 3) == "not stated");
}

// Written values confirmed, refuted and left open; the cut test by its geometry.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/results/confirm.h"
#include "results/made_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

ConfirmOptions within(double mm) {
  ConfirmOptions options;
  options.within_mm = mm;
  options.between_surveys_mm = 0.0;
  return options;
}

FitResult with_U95(FitResult result) {
  for (AxisResult& axis : result.axes) {
    for (auto* list : {&axis.centre, &axis.orientation}) {
      for (NamedEstimate& named : *list) named.estimate.U95_absolute = 2.0 * named.estimate.u;
    }
  }
  return result;
}

}  // namespace

TEST_CASE("a written value holds, does not, or nobody can tell") {
  const FitResult written = made_result(made_trunnion());  // u 0.002 mm
  std::vector<MadeAxis> axes = made_trunnion();
  CHECK(overall(*confirm(written, later(made_result(axes)), within(0.010))) == Holding::holds);
  CHECK(overall(*confirm(written, later(made_result(axes)), within(0.003))) ==
        Holding::cannot_tell);
  axes[0].line.point_mm.y() += 0.020;
  const auto gone = confirm(written, later(made_result(axes)), within(0.010));
  CHECK(overall(*gone) == Holding::does_not);
  CHECK(std::ranges::count(*gone, Holding::does_not, &ConfirmedValue::holding) == 1);
}

TEST_CASE("a value at its tolerance is said to hold in at most 5 of 100") {
  std::mt19937_64 engine(9);
  const FitResult written = made_result(made_head());
  int held = 0;
  constexpr int surveys = 2000;
  for (int k = 0; k < surveys; ++k) {
    FitResult found = later(made_result(made_head()));
    found.axes[0].centre[0].estimate.value += 0.010;
    disturb(found, engine);
    if (confirm(written, found, within(0.010))->front().holding == Holding::holds) ++held;
  }
  // Binomial with mean 100 and deviation 9.7.
  CHECK(held <= 140);
  CHECK(held >= 60);
}

TEST_CASE("half a turn shows twice what the centre is off") {
  const FitResult written = with_U95(made_result(made_trunnion()));
  const CutTest cut{'A', 0.0, std::numbers::pi, 0.018, 0.004};
  const auto evidence = cut_evidence(written, cut, within(0.020));
  REQUIRE(evidence.has_value());
  CHECK(evidence->off_mm == doctest::Approx(0.009));
  CHECK(evidence->off_U95_mm == doctest::Approx(0.002));
  CHECK(evidence->holding == Holding::holds);
  // U95 0.004 along Y and Z: 2 sqrt(2) 0.004 = 0.0113 at most, and 0.014 was seen at least.
  CHECK(evidence->expected_mm == doctest::Approx(2.0 * std::sqrt(2.0) * 0.004));
  CHECK(evidence->something_else);
  const auto quarter =
      cut_evidence(written, {'A', 0.0, std::numbers::pi / 2.0, 0.004, 0.004}, within(0.020));
  CHECK(quarter->per_centre == doctest::Approx(std::sqrt(2.0)));
  CHECK_FALSE(quarter->something_else);
}

TEST_CASE("a cut that says nothing is refused") {
  const FitResult written = with_U95(made_result(made_trunnion()));
  CHECK_FALSE(cut_evidence(written, {'A', 0.0, 2.0 * std::numbers::pi, 0.01, 0.004}).has_value());
  CHECK_FALSE(cut_evidence(written, {'B', 0.0, 1.0, 0.01, 0.004}).has_value());
  CHECK_FALSE(cut_evidence(written, {'A', 0.0, 1.0, -0.01, 0.004}).has_value());
  CHECK_FALSE(
      cut_evidence(with_U95(made_result(made_head())), {'B', 0.0, 1.0, 0.01, 0.004}).has_value());
}

// Figures as geometry: labels large enough, inside, and never on top of each other; colours apart.
// PIVOTRACE_KEEP=FOLDER keeps every figure there, to be looked at.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <cmath>

#include "report/charts.h"
#include "report/legible.h"
#include "report/look.h"

using namespace pivotrace::report;

namespace {

void check_legible(const Svg& svg, const std::string& name) {
  INFO(name);
  CHECK(complaints(svg) == "");
  keep(svg, name);
}

ValueChart values() {
  return {"\xC2\xB5m",
          {{"A.centre.Y", -12.3, 2.4},
           {"A.centre.Z", 41.0, 3.1},
           {"C.centre.X", 0.4, 12.0},
           {"A.pivot_to_gauge", -3.4, 0.8},
           {"A-C.distance", 120.0, 15.0}}};
}

std::vector<LimitRow> limit_rows() {
  return {{"A.centre.Y", "mm", -200.0123, 0.0021, 0.0021, -200.02, -199.98, 4, "conforms"},
          {"A.centre.Z", "mm", -250.0198, 0.0031, 0.0031, -250.02, -249.98, 4, "not proven"},
          {"A.orientation.C", "deg", 0.0123, 0.0004, 0.0004, -0.005, 0.005, 5, "does not conform"},
          {"A.F_R", "mm", 0.0031, 0.0005, 0.0005, std::nullopt, 0.01, 4, "conforms"}};
}

OrbitChart orbit() {
  OrbitChart chart;
  chart.right = "Y";
  chart.up = "Z";
  chart.unit = "\xC2\xB5m";
  for (int i = 0; i < 12; ++i) {
    const double angle = 30.0 * i;
    chart.stations.push_back({std::to_string(30 * i) + "\xC2\xB0", 37.0 + angle,
                              1.8 * std::sin(1.3 * i), 1.2 * std::cos(2.1 * i), i == 4});
    chart.stations.push_back({std::to_string(30 * i) + "\xC2\xB0", 37.0 + angle,
                              1.5 * std::sin(1.3 * i + 0.4), 0.9 * std::cos(2.1 * i), false});
  }
  chart.ellipse_half_long = 2.4;
  chart.ellipse_half_short = 1.1;
  chart.ellipse_turned_deg = 28.0;
  chart.U95_right = 2.2;
  chart.U95_up = 1.5;
  return chart;
}

LeanChart lean() {
  LeanChart chart;
  chart.along = "X";
  chart.length_unit = "mm";
  chart.unit = "\xC2\xB5m";
  chart.traces = {{"Y", 0.083, 2.0, 0.011, 0.002}, {"Z", -0.021, 3.0, 0.014, -0.01}};
  return chart;
}

ResidualChart residuals(int stations, int touches_each) {
  ResidualChart chart;
  for (int i = 0; i < stations; ++i) chart.stations.push_back(std::to_string(i + 1));
  for (int i = 0; i < stations; ++i) {
    for (int k = 0; k < touches_each; ++k) {
      ResidualTouch touch{i, 2.2 * std::sin(1.7 * i + 2.9 * k), false,
                          std::to_string(touches_each * i + k + 1)};
      if (i == 3 && k == 1) touch.w = 9.3;
      if (i == 5 && k == 0) {
        touch.w = -4.1;
        touch.left_out = true;
      }
      chart.touches.push_back(touch);
    }
  }
  return chart;
}

std::vector<BudgetRow> budget() {
  return {{"A.centre.Y",
           {{"stylus offset", 0.52}, {"index A", 0.31}, {"touch", 0.12}, {"scale", 0.05}}},
          {"A.centre.Z", {{"diameter", 0.07}, {"stylus offset", 0.61}, {"station", 0.32}}},
          {"A.orientation.C", {{"touch", 1.0}}}};
}

StepMap steps(std::size_t count) {
  StepMap map;
  map.unit = "\xC2\xB5m";
  for (std::size_t i = 0; i < count; ++i) {
    map.positions.push_back("A -67.5 C " + std::to_string(360 * i / count));
    map.steps.emplace_back();
    for (std::size_t k = 0; k < count; ++k) {
      map.steps.back().push_back(
          48.0 * std::abs(std::sin(M_PI * (double(i) - double(k)) / double(count))));
    }
  }
  return map;
}

/// Bars and the density of a normal distribution, shown to this many U95 on either side.
Histogram histogram(double reach) {
  Histogram drawn{"\xC2\xB5m", -3.2 * reach, 3.2 * reach, {}, {}, 3.2};
  for (int i = 0; i < 41; ++i) {
    const double x = drawn.low + (i + 0.5) * (drawn.high - drawn.low) / 41.0;
    drawn.density.push_back(0.25 * std::exp(-0.2 * x * x));
    drawn.stated.emplace_back(x, 0.24 * std::exp(-0.19 * x * x));
  }
  return drawn;
}

}  // namespace

TEST_CASE("every figure's labels are large enough, inside and apart") {
  check_legible(value_chart(values()), "values");
  check_legible(limit_chart(limit_rows()), "limits");
  check_legible(orbit_chart(orbit()), "orbit");
  check_legible(lean_chart(lean()), "lean");
  check_legible(residual_chart(residuals(9, 5)), "residuals");
  check_legible(residual_chart(residuals(64, 4)), "residuals-many");
  check_legible(budget_chart(budget()), "budget");
  check_legible(histogram_chart(histogram(1.1)), "histogram");
  check_legible(histogram_chart(histogram(2.0)), "histogram-wide");
  check_legible(step_map(steps(4)), "steps-4");
  check_legible(step_map(steps(12)), "steps-12");
}

TEST_CASE("figures stay legible whatever the numbers") {
  CHECK(rc::check([] {
    const auto number = [] { return *rc::gen::inRange(-1000000, 1000000) * 1e-4; };
    const auto positive = [] { return *rc::gen::inRange(1, 1000000) * 1e-5; };
    ValueChart chart{"\xC2\xB5m", {}};
    OrbitChart round = orbit();
    for (int i = 0; i < 4; ++i) chart.rows.push_back({"C.orientation.B", number(), positive()});
    for (OrbitStation& station : round.stations) {
      station.place_deg = number();
      station.radial = number();
    }
    ResidualChart left = residuals(7, 3);
    for (ResidualTouch& touch : left.touches) touch.w = number();
    LeanChart line = lean();
    for (LeanTrace& trace : line.traces) {
      trace.slope = 1e-3 * number();
      trace.U95_slope = 1e-2 * positive();
    }
    RC_ASSERT(complaints(value_chart(chart)) == "");
    RC_ASSERT(complaints(orbit_chart(round)) == "");
    RC_ASSERT(complaints(residual_chart(left)) == "");
    RC_ASSERT(complaints(lean_chart(line)) == "");
  }));
}

TEST_CASE("limits far outside and one-sided stay legible") {
  std::vector<LimitRow> rows = limit_rows();
  rows[0].value = -150.0;
  rows[1].low.reset();
  rows[3].value = 4.0;
  check_legible(limit_chart(rows), "limits-far");
}

TEST_CASE("an empty survey draws empty figures") {
  check_legible(value_chart({"mm", {}}), "values-none");
  check_legible(residual_chart({}), "residuals-none");
  check_legible(budget_chart({}), "budget-none");
  OrbitChart nothing;
  nothing.unit = "mm";
  check_legible(orbit_chart(nothing), "orbit-none");
}

TEST_CASE("words stand out from their ground in both themes") {
  // Published pair of W3C's own worked example: #777777 on white is 4.48 (from memory).
  CHECK(contrast("#777777", "#ffffff") == doctest::Approx(4.48).epsilon(0.002));
  CHECK(contrast("#000000", "#ffffff") == doctest::Approx(21.0));
  for (const bool dark : {false, true}) {
    const auto on = [dark](const char* words, const char* ground) {
      return contrast(colour_of(words, dark), colour_of(ground, dark));
    };
    for (const char* words : {"ink", "quiet", "limit", "axis"}) CHECK(on(words, "paper") >= 4.5);
    for (const char* ground : {"level-0", "level-1", "level-2", "level-3"})
      CHECK(on("ink", ground) >= 4.5);
    CHECK(on("paper", "level-4") >= 4.5);
    for (const char* fill : {"band", "touch", "artefact", "axis"}) {
      INFO(fill);
      CHECK(on(fill, "paper") >= 1.6);
    }
  }
}

TEST_CASE("numbers carry as many digits as their uncertainty") {
  CHECK(decimals_for(0.0123, 6) == 3);
  CHECK(decimals_for(12.3, 6) == 0);
  CHECK(decimals_for(0.9999, 6) == 2);
  CHECK(decimals_for(1e-9, 4) == 4);
  CHECK(decimals_for(std::nan(""), 4) == 4);
  CHECK(shown(-1.25, 1) ==
        "\xE2\x88\x92"
        "1.2");
  CHECK(shown_signed(0.00001, 3) == "0.000");
  CHECK(shown_signed(2.0, 1) == "+2.0");
  CHECK(shown_signed(std::nan(""), 1) == "\xE2\x80\x93");
  CHECK(nice_ceiling(3.0) == doctest::Approx(5.0));
  CHECK(nice_ceiling(0.02) == doctest::Approx(0.02));
  CHECK(nice_ceiling(7.1) == doctest::Approx(10.0));
}

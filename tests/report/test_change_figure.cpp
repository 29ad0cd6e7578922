// The drawing of old and new axes: legible whatever moved, and at one scale that is written on it.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <cmath>

#include "pivotrace/report/comparison_figure.h"
#include "report/chart_change.h"
#include "report/legible.h"

using namespace pivotrace;
using namespace pivotrace::report;

namespace {

ChangeChart chart_of(const std::vector<ChangeView>& views) {
  ChangeChart chart;
  chart.claim = "Axis B moved";
  chart.unit = "\xC2\xB5m";
  chart.length_unit = "mm";
  chart.views = views;
  return chart;
}

bool says(const Svg& svg, const std::string& part) {
  for (const Label& label : svg.labels()) {
    if (label.text.find(part) != std::string::npos) return true;
  }
  return false;
}

double some_change() {
  return (*rc::gen::inRange(-1000000, 1000001)) * std::pow(10.0, *rc::gen::inRange(-7, -2));
}

ValueChange value(const ValueName& name, double change, double U95, bool moved) {
  ValueChange made;
  made.name = name;
  made.old_value = 0.0;
  made.new_value = made.change = change;
  made.U95 = U95;
  made.moved = moved;
  return made;
}

}  // namespace

TEST_CASE("a change is drawn legibly whatever its size and sign") {
  CHECK(rc::check([] {
    std::vector<ChangeView> views;
    for (int k = *rc::gen::inRange(1, 5); k > 0; --k) {
      views.push_back({"B", "X", some_change(), some_change(), std::abs(some_change()),
                       std::abs(some_change())});
    }
    const Svg svg = change_chart(chart_of(views));
    const std::string found = complaints(svg);
    if (!found.empty()) RC_FAIL(found);
  }));
}

TEST_CASE("values, their U95 and the enlargement stand on the drawing") {
  const Svg svg = change_chart(
      chart_of({{"B", "X", 48.5, -6.8, 6.9, 5.5}, {"B", "Z", -8.2, -9.1, 10.5, 14.0}}));
  keep(svg, "change");
  CHECK(complaints(svg).empty());
  CHECK(says(svg, "+48.5 \xC2\xB1 6.9 \xC2\xB5m"));
  CHECK(says(svg, "times as large as the axis"));
  // 96 px are 55.4 um; 190 px are 300 mm: 96 / 0.0554 / (190 / 300) = 2736.
  CHECK(says(svg, "drawn 2700 times"));
}

TEST_CASE("a comparison is drawn axis by axis, from two sides, and claims what it says") {
  SurveyComparison comparison;
  comparison.moved = true;
  const Line before{{0.0, 0.0, 180.0}, Eigen::Vector3d::UnitY()};
  const Line after{{0.05, 0.0, 180.01}, Eigen::Vector3d(1e-4, 1.0, 0.0).normalized()};
  comparison.axes = {{'B', AxisSide::tool, before, after}};
  comparison.values = {
      value(axis_value('B', ValueKind::centre, LinearAxis::X), 0.05, 0.007, true),
      value(axis_value('B', ValueKind::centre, LinearAxis::Z), 0.01, 0.012, false),
      value(axis_value('B', ValueKind::orientation, LinearAxis::X), 0.0, 3e-5, false),
      value(axis_value('B', ValueKind::orientation, LinearAxis::Z), -1e-4, 2e-5, true)};
  const std::string text = comparison_svg(comparison, LengthUnit::mm);
  CHECK(text.find("Axis B moved") != std::string::npos);
  CHECK(text.find("axis B, X to the right") != std::string::npos);
  CHECK(text.find("axis B, Z to the right") != std::string::npos);
  // 50 um in the plane, and 1e-4 over 300 mm further: 80 um.
  CHECK(text.find("+50.0 \xC2\xB1 7.0 \xC2\xB5m") != std::string::npos);
  CHECK(text.find("+80.0 \xC2\xB5m") != std::string::npos);
  comparison.moved.reset();
  CHECK(comparison_svg(comparison, LengthUnit::inch).find("Nobody can tell") != std::string::npos);
}

// Pages of changes and of a history: what they say, and that they stand alone.
#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/report/change_page.h"
#include "report/charts.h"
#include "report/legible.h"
#include "report/stands_alone.h"

using namespace pivotrace;
using namespace pivotrace::report;

namespace {

ValueChange change(const char* name, double um, double U95_um) {
  ValueChange value;
  value.name = *value_named(name);
  value.old_value = 100.0;
  value.new_value = 100.0 + 1e-3 * um;
  value.change = 1e-3 * um;
  value.U95 = 1e-3 * U95_um;
  value.smallest_seen = 2.0 * value.U95;
  value.moved = std::abs(um) > U95_um;
  return value;
}

HistoryChart history(std::size_t count) {
  HistoryChart chart{"\xC2\xB5m", {}, {3}, 2.9, {12.0, -12.0}};
  for (std::size_t i = 0; i < count; ++i) {
    const auto at = static_cast<double>(i);
    chart.points.push_back({at * 30.0, "2026-03-0" + std::to_string(i % 10), 6.0 * std::sin(at),
                            2.0 + std::cos(at), std::sin(at) * 3.2, i == 4});
  }
  return chart;
}

}  // namespace

TEST_CASE("a history has labels large enough, inside and apart") {
  for (const std::size_t count : {1U, 2U, 9U, 60U}) {
    const Svg svg = history_chart(history(count));
    CHECK(complaints(svg) == "");
    keep(svg, "history-" + std::to_string(count));
  }
  CHECK(complaints(history_chart({})) == "");
}

TEST_CASE("a comparison names what changed most, and its explanations") {
  SurveyComparison comparison;
  comparison.machine_name = "mill <1>";
  comparison.values = {change("A.centre.Y", 46.0, 8.0), change("A.centre.Z", 2.0, 9.0)};
  comparison.moved = true;
  comparison.test.probability = 0.004;
  Explanation line;
  line.what = {{Cause::unit, 'A', AxisSide::work}};
  line.size.shift_mm = {0.0, 0.046, 0.0};
  line.seen = {false, true, true, false, false, false};
  line.probability = 0.93;
  comparison.explanations = {line};
  const std::string page = comparison_page(comparison, {});
  for (const char* words :
       {"MOVED", "once in 250 checks", "A.centre.Y changed by +46.0 \xC2\xB5m", "93.0 %",
        "Shifted by 46.0 \xC2\xB5m: Y +46.0, Z +0.0 (along X nothing is seen).", "mill &lt;1&gt;",
        "CAUTION", "Signature", "cannot tell"}) {
    INFO(words);
    CHECK(says(page, words));
  }
  check_alone(page);
}

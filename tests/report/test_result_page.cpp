// The page of a result: everything is on it, nothing is fetched, and its HTML is well formed.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <regex>
#include <stack>

#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivotrace/report/result_page.h"
#include "pivots/sample_result.h"
#include "report/charts.h"
#include "report/result_figures.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using namespace pivotrace::report;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

/// The sample with touches and stations enough to draw.
FitResult drawn_result() {
  FitResult result = one_axis_result();
  for (int i = 0; i < 8; ++i) {
    StationResult station;
    station.label = std::to_string(i + 1);
    station.angles_rad[0] = i * M_PI / 4.0;
    station.artefact = "ball";
    station.axis = 'A';
    station.resolved = true;
    station.radial_mm = 0.001 * std::sin(2.0 * i);
    station.tangential_mm = 0.0005 * std::cos(i);
    station.axial_mm = 0.0;
    if (i == 3) station.tangential_mm = not_run;  // too few touches to tell
    result.stations.push_back(station);
    for (int k = 0; k < 4; ++k) {
      TouchResult touch;
      touch.label = std::to_string(4 * i + k + 1);
      touch.station = station.label;
      touch.artefact = "ball";
      touch.residual_mm = 0.0004 * std::sin(3.0 * i + k);
      touch.w = std::sin(3.0 * i + k);
      touch.redundancy = 0.7;
      result.touches.push_back(touch);
    }
  }
  return result;
}

std::string page_of(const FitResult& result) {
  ResultPageOptions options;
  options.file = "demo.result.json";
  options.date = "2026-03-02T09:00:00Z";
  return result_page(result, options);
}

/// The first tag that closes what is not open, or stays open; empty = all well.
std::string unbalanced(const std::string& html) {
  static const std::regex tag(R"(<(/?)([a-zA-Z][a-zA-Z0-9]*)[^>]*?(/?)>)");
  const std::vector<std::string> alone = {"meta", "br"};
  std::stack<std::string> open;
  for (std::sregex_iterator one(html.begin(), html.end(), tag), none; one != none; ++one) {
    const std::string name = (*one)[2];
    if ((*one)[3] == "/" || std::find(alone.begin(), alone.end(), name) != alone.end()) continue;
    if ((*one)[1] != "/") {
      open.push(name);
    } else if (open.empty() || open.top() != name) {
      return "</" + name + ">";
    } else {
      open.pop();
    }
  }
  return open.empty() ? "" : open.top();
}

}  // namespace

TEST_CASE("a page shows verdict, caution, values, figures, findings, files and a place to sign") {
  const std::string page = page_of(drawn_result());
  for (const char* words :
       {"Usable", "CAUTION", "local safety rules", "A.centre.Y", "U95", "Findings", "Set-up",
        "Conditions", "Files", "demo.result.json", "Signature", "<svg", "seen along itself",
        "No touch stands out", "leans", "step by up to"}) {
    INFO(words);
    CHECK(says(page, words));
  }
  CHECK(unbalanced(page) == "");
  CHECK(says(page, "Not drawn: 1 with too few touches"));
  CHECK_FALSE(says(page, "nan"));
}

TEST_CASE("a page stands alone: no network, no scripts") {
  const std::string page = page_of(drawn_result());
  for (const char* words : {"<script", "<link", "<img", "@import", "url(", "src=", "href="}) {
    INFO(words);
    CHECK_FALSE(says(page, words));
  }
  // The only address is the name of the SVG language, which nobody fetches.
  const std::regex address(R"(https?://[^" ]*)");
  for (std::sregex_iterator one(page.begin(), page.end(), address), none; one != none; ++one) {
    CHECK(one->str() == "http://www.w3.org/2000/svg");
  }
}

TEST_CASE("a result that is not usable shows why, and no value") {
  FitResult result = drawn_result();
  result.usable = false;
  const std::string page = page_of(result);
  CHECK(says(page, "NOT USABLE"));
  CHECK(says(page, "None: see the findings."));
  CHECK_FALSE(says(page, "<td title="));
  CHECK(unbalanced(page) == "");
}

TEST_CASE("names are text, whatever they hold") {
  FitResult result = drawn_result();
  result.machine_name = "<b>5\" mill & co</b>";
  const std::string page = page_of(result);
  CHECK_FALSE(says(page, "<b>5"));
  CHECK(says(page, "&lt;b&gt;5&quot; mill &amp; co"));
  CHECK(unbalanced(page) == "");
}

TEST_CASE("half a turn about a centre missed by d makes a step of 2 d") {
  // By elementary geometry: the one centre goes round, the other stays.
  FitResult result = one_axis_result();
  AxisResult& axis = result.axes[0];
  axis.nominal.direction = axis.line.direction = Eigen::Vector3d::UnitX();
  axis.nominal.point_mm = axis.line.point_mm + Eigen::Vector3d(0.0, 0.03, -0.04);
  PartEnvelope part;
  part.from_mm = Eigen::Vector3d(-310.0, -250.0, -300.0);
  part.to_mm = Eigen::Vector3d(-210.0, -150.0, -200.0);
  RotaryAngles none{};
  RotaryAngles half{};
  RotaryAngles quarter{};
  half[0] = M_PI;
  quarter[0] = 0.5 * M_PI;
  const auto steps = part_steps(result, part, {none, quarter, half});
  CHECK(steps[0][0] == 0.0);
  CHECK(steps[0][2] == doctest::Approx(0.1).epsilon(1e-9));
  CHECK(steps[0][1] == doctest::Approx(0.05 * std::sqrt(2.0)).epsilon(1e-9));
  CHECK(steps[2][0] == steps[0][2]);
}

TEST_CASE("a part is cut at all the positions its texts name") {
  PartEnvelope part;
  part.at = {"A=0", "A=90..270/90"};
  const auto positions = part_positions(one_axis_result(), part);
  REQUIRE(positions.has_value());
  REQUIRE(positions->size() == 4);
  CHECK((*positions)[3][0] == doctest::Approx(1.5 * M_PI));
  part.at = {"B=0"};
  CHECK_FALSE(part_positions(one_axis_result(), part).has_value());
}

TEST_CASE("a lean is drawn as the direction says, and its band as the covariance") {
  FitResult result = one_axis_result();
  AxisResult& axis = result.axes[0];
  axis.nominal.direction = Eigen::Vector3d::UnitX();
  axis.line.direction = Eigen::Vector3d(1.0, 40e-6, -30e-6).normalized();
  const report::Figure figure = report::lean_figure(result, 0, report::PageUnit(LengthUnit::mm));
  REQUIRE(figure.numbers.rows.size() == 2);
  CHECK(figure.numbers.rows[0][0] == "Y");
  CHECK(figure.numbers.rows[0][1].substr(0, 3) == "+12");  // 40e-6 over 300 mm: 12 um
  CHECK(figure.numbers.rows[1][0] == "Z");
  CHECK(says(figure.numbers.rows[1][1], "9"));
  CHECK(says(figure.claim, "A leans"));
  CHECK(says(figure.claim, "towards +Y"));
}

TEST_CASE(
    "figures state the U95 of the sheet: of the centre in the orbit, of the lean over its length") {
  const FitResult result = drawn_result();
  const AxisResult& axis = result.axes.front();
  const PageUnit unit(LengthUnit::mm);
  const Figure orbit = orbit_figure(result, 0, unit);
  for (const NamedEstimate& named : axis.centre) {
    const double um = 1000.0 * named.estimate.U95_absolute;
    const std::string words =
        std::string(1, "XYZ"[component(named.name)]) + " " + shown(um, decimals_for(um, 2));
    INFO(words);
    CHECK(says(orbit.svg, words));
  }
  const Figure lean = lean_figure(result, 0, unit);
  REQUIRE(lean.numbers.rows.size() == axis.orientation.size());
  for (const NamedEstimate& named : axis.orientation) {
    const double um = 1000.0 * 300.0 * named.estimate.U95_absolute;
    const std::string words = shown(um, decimals_for(um, 1));
    INFO(words);
    CHECK(std::ranges::any_of(lean.numbers.rows, [&](const auto& row) { return row[2] == words; }));
  }
}

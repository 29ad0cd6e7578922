// Bad touches and slipped stations: what is left out, what stays, and what is only named.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <string>
#include <vector>

#include "machines.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

FitResult fitted(const Machine& machine, const Survey& survey, bool screen = true) {
  FitOptions options;
  options.screen = screen;
  const Expected<FitResult> result = fit_survey(machine, survey, options);
  REQUIRE(result.has_value());
  return *result;
}

std::vector<int> left_out(const FitResult& result) {
  std::vector<int> touches;
  for (std::size_t t = 0; t < result.touches.size(); ++t) {
    if (result.touches[t].excluded) touches.push_back(static_cast<int>(t));
  }
  return touches;
}

std::string text_of(const FitResult& result, const std::string& code) {
  for (const Finding& finding : result.findings) {
    if (text_of(finding.code) == code) return what_of(finding);
  }
  return {};
}

std::string all_findings(const FitResult& result) {
  std::string all;
  for (const Finding& finding : result.findings) {
    all += text_of(finding.code) + ": " + what_of(finding) + "\n";
  }
  return all;
}

/// Across the line from the axis to the artefact, as the axis carries it when it turns too far.
Eigen::Vector3d way_round(const Scenario& s, int station) {
  const MachineState& state = s.truth.state;
  const Eigen::Vector3d at = machine_from_carried(s.machine, state, 0, state.artefacts[0].point_mm,
                                                  s.stations[station].angles_rad);
  const Line& axis = state.axis_lines[0];
  return axis.direction.cross(perpendicular_from_line(axis, at).normalized());
}

void slip(Survey& survey, int station, const Eigen::Vector3d& by_mm) {
  const Station& stay = survey.stations[station];
  for (int t = 0; t < stay.touch_count; ++t) survey.touches[stay.first_touch + t].shown_mm += by_mm;
}

void spoil(Survey& survey, int touch, double by_mm) {
  survey.touches[touch].shown_mm -= by_mm * *survey.touches[touch].approach;
}

double off_in_u(const FitResult& result, const FitResult& clean) {
  double worst = 0.0;
  for (std::size_t k = 0; k < clean.axes[0].centre.size(); ++k) {
    const Estimate& expected = clean.axes[0].centre[k].estimate;
    const double off = result.axes[0].centre[k].estimate.value - expected.value;
    worst = std::max(worst, std::abs(off) / expected.u);
  }
  return worst;
}

}  // namespace

// 20 um are 8 sigma of a station along the way round (2 um and 5 arcsec at 60 mm): chi2 of about 55
// against a limit of 16, missed less than once in a thousand.
TEST_CASE("a station turned too far by 20 to 40 um is found, whichever it is") {
  for (int station = 0; station < 12; ++station) {
    for (const double size_mm : {0.02, 0.027, 0.04}) {
      const std::uint64_t seed = 100 + static_cast<std::uint64_t>(station);
      INFO("station ", station + 1, " by ", size_mm, " mm, seed ", seed);
      const Scenario s = fourth_axis(12, 4, seed);
      const Survey clean = survey_of(s);
      Survey slipped = clean;
      slip(slipped, station, size_mm * way_round(s, station));
      const FitResult result = fitted(s.machine, slipped);
      INFO(all_findings(result));
      CHECK(off_in_u(result, fitted(s.machine, clean, false)) < 1.5);
      const std::string name = "station " + std::to_string(station + 1) + " ";
      const std::string whole = text_of(result, "station-slipped");
      const std::string touch = text_of(result, "bad-touch");
      const bool possible = touch.find("all of that station may have slipped") != std::string::npos;
      CHECK((whole.find(name) != std::string::npos ||
             (possible && touch.find(name) != std::string::npos)));
    }
  }
}

// The rest of a station is asked at level 1 % whether it slipped too: of 12 stations more than two
// go with their bad touch less than once in 4000 seeds (binomial).
TEST_CASE("one bad touch costs that touch and not its station, however large the error") {
  // The pole is the only touch of a station that looks along Z: a slip along Z explains its error
  // just as well, and only the fewer unknowns speak for the touch.
  for (const double size_mm : {0.03, 0.3, 5.0}) {
    int stations_lost = 0;
    for (int station = 0; station < 12; ++station) {
      const std::uint64_t seed = 200 + static_cast<std::uint64_t>(station);
      const Scenario s = fourth_axis(12, 4, seed);
      const int touch = 5 * station + (station % 2 == 0 ? 4 : station % 4);
      INFO("touch ", touch + 1, " by ", size_mm, " mm, seed ", seed);
      const Survey clean = survey_of(s);
      Survey spoiled = clean;
      spoil(spoiled, touch, size_mm);
      std::vector<int> expected = left_out(fitted(s.machine, clean));
      if (std::find(expected.begin(), expected.end(), touch) == expected.end()) {
        expected.push_back(touch);
      }
      std::sort(expected.begin(), expected.end());
      const FitResult result = fitted(s.machine, spoiled);
      INFO(all_findings(result));
      if (!text_of(result, "station-slipped").empty()) {
        ++stations_lost;
        CHECK(result.touches[static_cast<std::size_t>(touch)].excluded);
        CHECK(left_out(result).size() <= expected.size() + 4);
      } else {
        CHECK(left_out(result) == expected);
      }
    }
    INFO("by ", size_mm, " mm");
    CHECK(stations_lost <= 2);
  }
}

TEST_CASE("what one touch alone can see is said of both: the touch and its station") {
  const Scenario s = fourth_axis(12, 4, 11);
  Survey slipped = survey_of(s);
  slip(slipped, 3, {0.0, 0.0, 0.045});  // A90: straight up, seen by the touch from above only
  const FitResult result = fitted(s.machine, slipped);
  INFO(all_findings(result));
  CHECK(left_out(result) == std::vector<int>{19});
  const std::string text = text_of(result, "bad-touch");
  CHECK(text.find("touch 20 at station 4 (A90)") != std::string::npos);
  CHECK(text.find("No other touch of station 4 (A90) looks in that direction") !=
        std::string::npos);
  CHECK(result.usable);

  Survey chip = survey_of(s);
  spoil(chip, 15, 0.045);  // on the equator, where three others look the same way
  CHECK(text_of(fitted(s.machine, chip), "bad-touch").find("may have slipped") ==
        std::string::npos);
}

TEST_CASE("two bad touches of one station are left out and its others stay") {
  const Scenario s = fourth_axis(12, 4, 11);
  Survey spoiled = survey_of(s);
  spoil(spoiled, 26, 0.3);
  spoil(spoiled, 28, -0.08);
  CHECK(left_out(fitted(s.machine, spoiled)) == std::vector<int>{26, 28});
}

TEST_CASE("a slipped station of a pin is found: nothing there looks along the pin") {
  Scenario s = with_artefacts(
      "pin in a chuck",
      {rotary_axis('A', LinearAxis::X, TurnSense::left_hand, {-300, -200, -250}, 5)},
      {artefact("pin", ArtefactKind::pin, 0, {-280, -200, -250}, Eigen::Vector3d::UnitX())},
      full_circle(6));
  Survey slipped = survey_of(s);
  slip(slipped, 2, {0.0, 0.03, 0.02});
  const FitResult result = fitted(s.machine, slipped);
  INFO(all_findings(result));
  const std::string text = text_of(result, "station-slipped");
  CHECK(text.find("station 3 ") != std::string::npos);
  CHECK(left_out(result).size() == 10);
}

// Where a survey is too small to tell its own sigmas, a machine three times worse than its file must
// lose no more touches than one as good as its file: Student's and not the normal distribution.
TEST_CASE("a machine worse than its file keeps its touches") {
  constexpr int surveys = 150;
  long lost = 0;
  long touches = 0;
  for (std::uint64_t seed = 1; seed <= surveys; ++seed) {
    Scenario s = fourth_axis(4, 4, seed);
    s.noise.touch_sigma_mm *= 3.0;
    s.noise.station_sigma_mm *= 3.0;
    s.noise.index_sigma_rad[0] *= 3.0;
    const FitResult result = fitted(s.machine, survey_of(s));
    lost += static_cast<long>(left_out(result).size());
    touches += static_cast<long>(result.touches.size());
  }
  INFO("lost ", lost, " of ", touches, " good touches, seeds 1 to ", surveys);
  // 3000 touches at level 0.1 %, and stations of 5: 3 + 600 stations x 0.1 % x 5 = 6 expected.
  CHECK(lost <= 18);
}

TEST_CASE("four equal steps and one bad touch from above: named, not guessed") {
  Scenario s = four_quarters();
  for (std::uint64_t seed = 1; seed <= 10; ++seed) {
    INFO("seed ", seed);
    s.noise.seed = seed;
    Survey spoiled = survey_of(s);
    spoil(spoiled, 9, 0.05);
    const FitResult result = fitted(s.machine, spoiled);
    INFO(all_findings(result));
    CHECK(left_out(result).empty());
    CHECK_FALSE(result.usable);
    const std::string text = text_of(result, "suspects-inseparable");
    CHECK(text.find("touch 10 at station 2 (C90)") != std::string::npos);
    CHECK(text.find(" or ") != std::string::npos);
  }
}

TEST_CASE("chance alone does not make a survey with rivals unusable") {
  constexpr int surveys = 2000;
  Scenario s = four_quarters();
  int named = 0;
  int unusable = 0;
  for (std::uint64_t seed = 1; seed <= surveys; ++seed) {
    s.noise.seed = seed;
    const FitResult result = fitted(s.machine, survey_of(s));
    for (const Finding& finding : result.findings) {
      if (finding.code != FindingCode::suspects_inseparable) continue;
      ++named;
      unusable += finding.severity == Severity::error ? 1 : 0;
    }
  }
  INFO("named ", named, ", unusable ", unusable, " of ", surveys, ", seeds 1 to ", surveys);
  // 0.4 % of surveys shared by 24 touches and stations, 4 of them with rivals, in two searches: 2.7
  // expected; 10 or more once in 3,000 times.
  CHECK(named <= 9);
  // 0.05 % of surveys, shared likewise: 0.2 expected; 4 or more once in 10,000 times.
  CHECK(unusable <= 3);
}

// Every finding: a survey that must provoke it, the nearest one that must not, and its words.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <functional>
#include <string>
#include <vector>

#include "jobs.h"
#include "machines.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/survey/random_stream.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// A survey ready to be fitted.
struct Story {
  Machine machine;
  Survey survey;
  FitOptions options;
};

struct Case {
  std::string code;
  Severity severity;
  std::function<Story()> provoked;
  std::function<Story()> spared;   ///< as near to it as it may get without the finding
  std::vector<std::string> words;  ///< in the text: what, where, how large
  std::vector<std::string> to_do;  ///< in the advice
};

Story story(const Scenario& s) { return {s.machine, survey_of(s), {}}; }

/// The 12 x 5 job; `change` spoils the truth, the noise or the plan before the touches are made.
Story job(const std::function<void(Scenario&)>& change) {
  Scenario s = fourth_axis(12, 4, 3);
  change(s);
  return story(s);
}

Story job_after(const std::function<void(Survey&)>& change) {
  Story result = story(fourth_axis(12, 4, 3));
  change(result.survey);
  return result;
}

void spoil(Survey& survey, int touch, double by_mm) {
  survey.touches[touch].shown_mm -= by_mm * *survey.touches[touch].approach;
}

void shift_stations(Survey& survey, int first, int last, const Eigen::Vector3d& by_mm) {
  for (Touch& touch : survey.touches) {
    if (touch.station >= first && touch.station <= last) touch.shown_mm += by_mm;
  }
}

/// Stations at the given angles of the only axis, touched as the first station is.
void at_angles(Scenario& s, const std::vector<double>& angles_deg) {
  const StationTarget first = s.stations.front();
  s.stations.clear();
  for (const double angle_deg : angles_deg) {
    s.stations.push_back(first);
    s.stations.back().angles_rad = degrees(angle_deg);
  }
}

/// There and back over a full circle.
void there_and_back(Scenario& s) {
  std::vector<StationTarget> back(s.stations.rbegin(), s.stations.rend());
  s.stations.insert(s.stations.end(), back.begin(), back.end());
}

/// Two balls at both ends of a 4th axis, at the given angles.
Scenario two_balls(const std::vector<double>& angles_deg) {
  Scenario s = fourth_axis(4, 4, 3);
  s.machine.artefacts.push_back(ball("far ball", 0, {-370, -190, -195}));
  s.truth = leaning_truth(s.machine, 0.0004, 0.15);
  for (StationTarget& station : s.stations) {
    station.touches = joined(ball_pattern(0, 4, 0.3, true), ball_pattern(1, 4, 0.3, true));
  }
  at_angles(s, angles_deg);
  return s;
}

std::vector<Case> cases() {
  std::vector<Case> all;
  all.push_back({"bad-touch",
                 Severity::warning,
                 [] { return job_after([](Survey& s) { spoil(s, 27, 0.05); }); },
                 [] { return job_after([](Survey& s) { spoil(s, 27, 0.002); }); },
                 {"touch 28 at station 6 (A150)", "0.05", "left out"},
                 {"chip", "repeat that touch"}});
  all.push_back(
      {"station-slipped",
       Severity::warning,
       [] { return job_after([](Survey& s) {
              shift_stations(s, 4, 4, {0.02, 0.03, 0.02});
            }); },
       [] { return job_after([](Survey& s) {
              shift_stations(s, 4, 4, {0.001, 0.002, 0.001});
            }); },
       {"all touches of station 5 (A120)", "0.04", "left out"},
       {"clamped", "repeat that station"}});
  all.push_back({"suspects-inseparable",
                 Severity::error,
                 [] {
                   Story bad = story(four_quarters());
                   spoil(bad.survey, 9, 0.05);
                   return bad;
                 },
                 [] {
                   // A touch round the ball has others beside it.
                   Story bad = story(four_quarters());
                   spoil(bad.survey, 6, 0.05);
                   return bad;
                 },
                 {"touch 10 at station 2", " or ", "cannot tell which", "none was left out"},
                 {"repeat all the touches named"}});
  all.push_back({"too-many-bad-touches",
                 Severity::error,
                 [] {
                   // Four of twelve stations slipped, each its own way.
                   return job_after([](Survey& s) {
                     shift_stations(s, 1, 1, {0.1, 0.2, 0.3});
                     shift_stations(s, 4, 4, {-0.5, 0.1, 0.2});
                     shift_stations(s, 7, 7, {0.2, -0.4, 0.1});
                     shift_stations(s, 10, 10, {0.3, 0.3, -0.6});
                   });
                 },
                 [] {
                   return job_after([](Survey& s) {
                     shift_stations(s, 1, 1, {0.1, 0.2, 0.3});
                     shift_stations(s, 7, 7, {0.2, -0.4, 0.1});
                   });
                 },
                 {"no agreed answer"},
                 {"angles", "units", "repeat the survey"}});
  all.push_back({"artefact-moved",
                 Severity::error,
                 [] {
                   return job_after([](Survey& s) { shift_stations(s, 6, 11, {0.08, 0, 0}); });
                 },
                 [] {
                   return job_after([](Survey& s) { shift_stations(s, 6, 11, {0.001, 0, 0}); });
                 },
                 {"ball", "0.0", "from station 7 (A180) on", "moved during the survey"},
                 {"fasten", "repeat the survey"}});
  all.push_back({"drift-seen",
                 Severity::warning,
                 [] {
                   return job([](Scenario& s) { s.truth.drift_mm_per_hour = {0.05, 0.1, 0.3}; });
                 },
                 [] { return job([](Scenario&) {}); },
                 {"creep in time", "mm per hour", "not corrected"},
                 {"warm up", "--with drift"}});
  all.push_back(
      {"stylus-offset-seen",
       Severity::warning,
       [] {
         return job([](Scenario& s) {
           for (std::size_t k = 1; k < s.stations.size(); k += 2) {
             s.stations[k].flip = true;
           }
           s.truth.state.stylus_offset_mm = {0.02, -0.01, 0.0};
         });
       },
       [] {
         // Without a turned spindle an offset cannot show.
         return job([](Scenario& s) { s.truth.state.stylus_offset_mm = {0.02, -0.01, 0.0}; });
       },
       {"off the spindle axis", "0.02", "not corrected"},
       {"centre the stylus", "--with stylus-offset"}});
  all.push_back({"lobing-seen",
                 Severity::warning,
                 [] {
                   return job([](Scenario& s) {
                     for (StationTarget& t : s.stations) t.touches = ball_pattern(0, 7, 0.2, true);
                     s.truth.lobing_amplitude_mm = 0.006;
                   });
                 },
                 [] {
                   return job([](Scenario& s) {
                     for (StationTarget& t : s.stations) t.touches = ball_pattern(0, 7, 0.2, true);
                   });
                 },
                 {"three directions", "about 0.00", "mm", "not corrected"},
                 {"five or six touches", "--with lobing"}});
  all.push_back(
      {"reversal-seen",
       Severity::warning,
       [] {
         return job([](Scenario& s) {
           there_and_back(s);
           s.truth.reversal_rad[0] = rad_from_arcsec(40);
         });
       },
       // Reached from one side throughout, it cannot show and does no harm.
       [] { return job([](Scenario& s) { s.truth.reversal_rad[0] = rad_from_arcsec(40); }); },
       {"reached from below and from above", "arcsec", "not corrected"},
       {"from the same side", "--with reversal"}});
  all.push_back({"linear-axes-two-lobed",
                 Severity::warning,
                 [] {
                   return job([](Scenario& s) {
                     s.truth.linear_error(1, 2) = 4e-4;
                     s.truth.linear_origin_mm = s.machine.rotary[0].centre_mm;
                   });
                 },
                 [] {
                   return job([](Scenario& s) {
                     s.truth.linear_error(1, 2) = 4e-6;
                     s.truth.linear_origin_mm = s.machine.rotary[0].centre_mm;
                   });
                 },
                 {"twice per turn", "squareness YZ +", "um/m"},
                 {"linear axes checked", "--with squareness,scale"}});
  all.push_back(
      {"scatter-larger-than-stated",
       Severity::warning,
       [] { return job([](Scenario& s) { s.noise.touch_sigma_mm *= 10.0; }); },
       [] { return job([](Scenario& s) { s.noise.touch_sigma_mm *= 1.5; }); },
       {"scatter of single touches", "came out at 0.0", "machine file says 0.0010", "U95"},
       {"touch_sigma"}});
  all.push_back({"diameter-disagrees",
                 Severity::error,
                 [] { return job([](Scenario& s) { s.truth.state.stylus_radius_mm += 0.015; }); },
                 [] { return job([](Scenario& s) { s.truth.state.stylus_radius_mm += 0.0002; }); },
                 {"ball and stylus together", "+0.0", "every station alike"},
                 {"stylus diameter", "stylus_diameter_u"}});
  all.push_back(
      {"approach-contradicts",
       Severity::error,
       [] { return job_after([](Survey& s) { s.touches[8].approach = -*s.touches[8].approach; }); },
       // Without approach directions the side is taken from the artefact.
       [] {
         return job_after([](Survey& s) {
           for (Touch& touch : s.touches) touch.approach.reset();
         });
       },
       {"touch 9 on ball", "inside the material"},
       {"I, J, K", "pin or a bore"}});
  all.push_back({"turn-sense-unproven",
                 Severity::warning,
                 [] {
                   return story(two_balls({0, 180}));
                 },
                 [] {
                   return story(two_balls({0, 180, 90}));
                 },
                 {"both turn senses of axis A", "positive_turn"},
                 {"one more angle of A", "90 deg"}});
  all.push_back(
      {"unchecked-touches",
       Severity::warning,
       [] {
         // Three touches on a flat at one station: just enough for the flat itself.
         Scenario s = fourth_axis(12, 4, 3);
         s.machine.artefacts.push_back(artefact("plate", ArtefactKind::flat, 0, {-280, -200, -250},
                                                Eigen::Vector3d::UnitX()));
         s.truth = leaning_truth(s.machine, 0.0004, 0.15);
         s.stations[0].touches =
             joined(s.stations[0].touches, face_pattern(s.machine.artefacts[1], 1, 3, 40.0));
         return story(s);
       },
       [] {
         Scenario s = fourth_axis(12, 4, 3);
         s.machine.artefacts.push_back(artefact("plate", ArtefactKind::flat, 0, {-280, -200, -250},
                                                Eigen::Vector3d::UnitX()));
         s.truth = leaning_truth(s.machine, 0.0004, 0.15);
         for (StationTarget& station : s.stations) {
           station.touches =
               joined(station.touches, face_pattern(s.machine.artefacts[1], 1, 3, 40.0));
         }
         return story(s);
       },
       {"3 of 63 touches are checked by no other", "touch 6"},
       {"add a station or a touch"}});
  all.push_back({"arc-too-short",
                 Severity::note,
                 [] { return job([](Scenario& s) {
                        at_angles(s, {0, 8, 16, 24, 32, 40});
                      }); },
                 [] { return job([](Scenario& s) {
                        at_angles(s, {0, 30, 60, 90, 120, 150});
                      }); },
                 {"angles of A", "short arc", "U95 counts them by their bounds"},
                 {"spread the angles of A", "squareness_um_per_m"}});
  all.push_back({"ball-near-axis",
                 Severity::warning,
                 [] {
                   return job([](Scenario& s) {
                     s.machine.artefacts[0].at_mm = {-270, -200, -245};
                     s.truth = leaning_truth(s.machine, 0.0004, 0.15);
                   });
                 },
                 [] {
                   return job([](Scenario& s) {
                     s.machine.artefacts[0].at_mm = {-270, -200, -230};
                     s.truth = leaning_truth(s.machine, 0.0004, 0.15);
                   });
                 },
                 {"mm from axis A", "lean is poorly known"},
                 {"50 to 150 mm"}});
  all.push_back({"sigmas-assumed",
                 Severity::note,
                 [] {
                   return job([](Scenario& s) {
                     at_angles(s, {0, 90, 180, 270});
                     s.machine.probe.touch_sigma_stated = false;
                   });
                 },
                 [] { return job([](Scenario& s) {
                        at_angles(s, {0, 90, 180, 270});
                      }); },
                 {"not in the machine file and assumed instead", "`touch_sigma` 0.00100 mm",
                  "every U95 rests on them"},
                 {"state what your probe and machine do"}});
  return all;
}

const Finding* found(const FitResult& result, const std::string& code) {
  for (const Finding& finding : result.findings) {
    if (text_of(finding.code) == code) return &finding;
  }
  return nullptr;
}

std::string said(const FitResult& result) {
  std::string all;
  for (const Finding& f : result.findings) {
    all += text_of(f.code) + ": " + what_of(f) + " | " + advice_of(f) + "\n";
  }
  return all;
}

FitResult fitted(const Story& story) {
  const Expected<FitResult> result = fit_survey(story.machine, story.survey, story.options);
  INFO((result ? std::string() : describe(result.error().front())));
  REQUIRE(result.has_value());
  return *result;
}

}  // namespace

TEST_CASE("every finding is provoked by its story, with its severity, words and advice") {
  for (const Case& one : cases()) {
    INFO(one.code);
    const FitResult result = fitted(one.provoked());
    INFO("said: ", said(result));
    const Finding* finding = found(result, one.code);
    REQUIRE(finding != nullptr);
    CHECK(finding->severity == one.severity);
    for (const std::string& word : one.words) {
      INFO("must say: ", word);
      CHECK(what_of(*finding).find(word) != std::string::npos);
    }
    for (const std::string& word : one.to_do) {
      INFO("must advise: ", word);
      CHECK(advice_of(*finding).find(word) != std::string::npos);
    }
    if (one.severity == Severity::error) CHECK_FALSE(result.usable);
  }
}

TEST_CASE("no finding is made of the nearest harmless story") {
  for (const Case& one : cases()) {
    INFO(one.code);
    const FitResult result = fitted(one.spared());
    INFO("said: ", said(result));
    CHECK(found(result, one.code) == nullptr);
  }
}

TEST_CASE("scatter that a small survey cannot tell apart enlarges every U95, and says so") {
  Scenario s = fourth_axis(4, 3, 3);  // nine readings more than unknowns: too few to tell sources
  const FitResult quiet = fitted(story(s));
  CHECK(found(quiet, "scatter-larger-than-stated") == nullptr);
  s.noise.touch_sigma_mm *= 4.0;
  s.noise.station_sigma_mm *= 4.0;
  s.noise.index_sigma_rad[0] *= 4.0;
  const FitResult loud = fitted(story(s));
  INFO(said(loud));
  const Finding* finding = found(loud, "scatter-larger-than-stated");
  REQUIRE(finding != nullptr);
  CHECK(what_of(*finding).find("times more than the machine file allows") != std::string::npos);
  CHECK(what_of(*finding).find("U95") != std::string::npos);
  CHECK(advice_of(*finding).find("chips") != std::string::npos);
  CHECK(loud.axes[0].centre[0].estimate.U95 > 2.0 * quiet.axes[0].centre[0].estimate.U95);
}

TEST_CASE("a lean that scatter drowns is an error of the result, not a number") {
  // Enlarged to the scatter found, U95 passes the limit of what is useful.
  Scenario s = fourth_axis(4, 3, 3);
  s.noise.touch_sigma_mm *= 4.0;
  s.noise.station_sigma_mm *= 4.0;
  s.noise.index_sigma_rad[0] *= 4.0;
  Story loud = story(s);
  const FitResult within = fitted(loud);
  CHECK(found(within, "weakly-determined") == nullptr);
  loud.options.location_limit_mm = 0.5 * within.axes[0].centre[0].estimate.U95_absolute;
  const FitResult beyond = fitted(loud);
  INFO(said(beyond));
  const Finding* finding = found(beyond, "weakly-determined");
  REQUIRE(finding != nullptr);
  CHECK(finding->severity == Severity::error);
  CHECK(what_of(*finding).find("is not determined: U95 would be") != std::string::npos);
  CHECK(what_of(*finding).find("axis A") != std::string::npos);
  CHECK_FALSE(advice_of(*finding).empty());
  CHECK_FALSE(beyond.usable);
}

TEST_CASE("squareness that moves a value by more than its U95 makes the result unusable") {
  const auto spoiled = [](double squareness, double arc_deg) {
    return job([&](Scenario& s) {
      std::vector<double> angles;
      for (int k = 0; k < 13; ++k) angles.push_back(arc_deg * k / 12);
      at_angles(s, angles);
      s.truth.linear_error(1, 2) = squareness;
      s.truth.linear_origin_mm = s.machine.rotary[0].centre_mm;
    });
  };
  const FitResult half = fitted(spoiled(1e-3, 180.0));
  INFO(said(half));
  REQUIRE(found(half, "linear-axes-two-lobed") != nullptr);
  CHECK(found(half, "linear-axes-two-lobed")->severity == Severity::error);
  CHECK_FALSE(half.usable);
  const FitResult whole = fitted(spoiled(4e-4, 360.0));
  INFO(said(whole));
  REQUIRE(found(whole, "linear-axes-two-lobed") != nullptr);
  CHECK(found(whole, "linear-axes-two-lobed")->severity == Severity::warning);
}

TEST_CASE("as many unknowns as readings: nothing is checked, so the result is not usable") {
  // Three ball centres are nine readings: line 4, ball 3, squareness 1, scale 1.
  const Scenario s = fourth_axis(3, 4, 1);
  std::vector<double> angles_rad;
  for (const StationTarget& station : s.stations) angles_rad.push_back(station.angles_rad[0]);
  const Survey survey = centre_rows(s.machine, s.truth.state, angles_rad);
  FitOptions options;
  options.location_limit_mm = options.orientation_limit_rad = 10.0;
  CHECK(fitted(Story{s.machine, survey, options}).usable);
  options.unknowns = {OptionalUnknown::squareness, OptionalUnknown::scale};
  const FitResult exact = fitted(Story{s.machine, survey, options});
  INFO(said(exact));
  CHECK(exact.fit.dof == 0.0);
  CHECK_FALSE(exact.usable);
  const Finding* unchecked = found(exact, "unchecked-touches");
  REQUIRE(unchecked != nullptr);
  CHECK(unchecked->severity == Severity::error);
}

// One stylus touches both balls: what the one says of it must not count against the other's diameter.
// Of 60 surveys with 2 diameters each at a level of 0.1 %, two or more alarm once in 150 runs.
TEST_CASE("diameters that are as stated are not said to disagree, however many share the stylus") {
  int disagreeing = 0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    Scenario s = coverage_jobs()[3].scenario;
    s.noise.seed = seed;
    RandomStream random(seed);
    const double stylus_off_mm = *s.machine.probe.stylus_diameter_u_mm * random.normal();
    s.truth.state.stylus_radius_mm += 0.5 * stylus_off_mm;
    for (std::size_t a = 0; a < s.machine.artefacts.size(); ++a) {
      REQUIRE(s.machine.artefacts[a].diameter_u_mm.has_value());
      s.truth.state.artefacts[a].radius_mm +=
          0.5 * *s.machine.artefacts[a].diameter_u_mm * random.normal();
    }
    const Expected<FitResult> result = fit_survey(s.machine, survey_of(s), {});
    REQUIRE(result.has_value());
    disagreeing += found(*result, "diameter-disagrees") != nullptr;
  }
  INFO("seeds 1 to 60: ", disagreeing);
  CHECK(disagreeing <= 1);
}

TEST_CASE("a lobed probe does not pass for slides out of square") {
  int lobed = 0;
  for (const NamedScenario& one : every_machine()) {
    Scenario s = one.scenario;
    s.truth.lobing_amplitude_mm = 0.002;
    s.noise.touch_sigma_mm = s.machine.probe.touch_sigma_mm = 0.0005;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
      INFO(one.name, ", seed ", seed);
      s.noise.seed = seed;
      const Expected<FitResult> result = fit_survey(s.machine, survey_of(s), {});
      if (!result || found(*result, "lobing-seen") == nullptr) continue;
      ++lobed;
      CHECK_MESSAGE(found(*result, "linear-axes-two-lobed") == nullptr, said(*result));
    }
  }
  CHECK(lobed > 10);
}

TEST_CASE("a wrong turn sense is said with the evidence and what to change") {
  for (const double arc_deg : {360.0, 60.0, 12.0}) {
    INFO("arc ", arc_deg, " deg");
    Story turned = job([&](Scenario& s) {
      std::vector<double> angles;
      for (int k = 0; k < 6; ++k) angles.push_back(arc_deg * k / 6);
      at_angles(s, angles);
      s.truth.state.turns[0] = TurnSense::right_hand;
    });
    turned.options.location_limit_mm = 10.0;
    const Expected<FitResult> result = fit_survey(turned.machine, turned.survey, turned.options);
    std::string text;
    std::string advice;
    if (result) {
      REQUIRE(found(*result, "turn-sense-wrong") != nullptr);
      text = what_of(*found(*result, "turn-sense-wrong"));
      advice = advice_of(*found(*result, "turn-sense-wrong"));
      CHECK_FALSE(result->usable);
      CHECK(result->findings.size() == 1);  // everything else would be about the wrong sense
    } else {
      REQUIRE(result.error().front().number == ProblemNumber::wrong_turn_sense);
      text = result.error().front().what;
      advice = result.error().front().advice;
    }
    CHECK(text.find("axis A turns the other way") != std::string::npos);
    CHECK(advice.find("positive_turn") != std::string::npos);
  }
  const FitResult right = fitted(job([](Scenario&) {}));
  CHECK(found(right, "turn-sense-wrong") == nullptr);
  CHECK(right.axes[0].turn_confirmed);
}

TEST_CASE("errors twenty times the stated scatter make the result unusable") {
  // A third of all touches bad: no robust search can tell which third.
  const FitResult result = fitted(job_after([](Survey& s) {
    for (int t = 0; t < 60; t += 3) spoil(s, t, 0.1 + 0.07 * (t % 7));
  }));
  INFO(said(result));
  CHECK_FALSE(result.usable);
}

TEST_CASE("a clean survey with everything stated has no findings at all") {
  CHECK(fitted(job([](Scenario&) {})).findings.empty());
}

TEST_CASE("an effect that is solved for is not complained of again") {
  Story creeping = job([](Scenario& s) { s.truth.drift_mm_per_hour = {0.05, 0.1, 0.3}; });
  creeping.options.unknowns = {OptionalUnknown::drift};
  const FitResult result = fitted(creeping);
  INFO(said(result));
  CHECK(found(result, "drift-seen") == nullptr);
  REQUIRE(result.effects.size() == 3);
  for (int k = 0; k < 3; ++k) {
    const double truth = std::vector<double>{0.05, 0.1, 0.3}[k];
    CHECK(std::abs(result.effects[k].estimate.value - truth) <
          2.0 * result.effects[k].estimate.U95);
    CHECK(effect_unit(result.effects[k].name.kind) == EffectUnit::mm_per_hour);
  }
}

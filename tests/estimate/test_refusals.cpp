// What the touches cannot determine is refused by name, with what to add. Never a huge sigma, never
// a plausible number.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <functional>
#include <string>
#include <vector>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/estimate/predict.h"
#include "pivotrace/estimate/trials.h"
#include "random_scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

const Eigen::Vector3d x_axis = Eigen::Vector3d::UnitX();
const Eigen::Vector3d z_axis = Eigen::Vector3d::UnitZ();
const Eigen::Vector3d centre(-300, -200, -250);

RotaryAxis a_table() { return rotary_axis('A', LinearAxis::X, TurnSense::left_hand, centre, 5); }
RotaryAxis c_table() { return rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, centre, 5); }

struct RefusedStory {
  std::string story;
  std::function<Scenario()> scenario;
  std::vector<OptionalUnknown> unknowns;
  ProblemNumber number;
  std::vector<std::string> names;  ///< words of the story
  std::vector<std::string> adds;   ///< words of the advice
};

void touch_only(Scenario& s, const std::vector<TouchTarget>& touches) {
  for (StationTarget& station : s.stations) station.touches = touches;
}

std::vector<RefusedStory> refused_stories() {
  std::vector<RefusedStory> all;
  all.push_back({"two opposite angles, one ball",
                 [] {
                   return with_artefacts("4th", {a_table()}, {ball("ball", 0, {-270, -200, -190})},
                                         {degrees(0), degrees(180)});
                 },
                 {},
                 ProblemNumber::not_observable,
                 {"axis A", "lean", "cannot be told apart"},
                 {"three or more different angles of A"}});
  all.push_back({"touches on the equator only, table",
                 [] {
                   Scenario s = with_artefacts(
                       "table", {c_table()}, {ball("ball", 0, {-220, -200, -200})}, full_circle(6));
                   touch_only(s, ball_pattern(0, 6, 0.3, false));
                   return s;
                 },
                 {},
                 ProblemNumber::not_observable,
                 {"no touch looks straight along", "Z coordinate of artefact ball"},
                 {"none from above", "along Z", "at every station"}});
  all.push_back({"touches on the equator only, 4th axis",
                 [] {
                   Scenario s = with_artefacts(
                       "4th", {a_table()}, {ball("ball", 0, {-270, -200, -190})}, full_circle(8));
                   touch_only(s, ball_pattern(0, 6, 0.3, false));
                   return s;
                 },
                 {},
                 ProblemNumber::not_observable,
                 {"no touch looks straight along", "Z coordinate of the centre of axis A"},
                 {"none from above", "along Z"}});
  all.push_back({"touches from above only",
                 [] {
                   Scenario s = with_artefacts(
                       "4th", {a_table()}, {ball("ball", 0, {-270, -200, -190})}, full_circle(12));
                   touch_only(s, {{0, z_axis, 0.0, Eigen::Vector3d::Zero()}});
                   return s;
                 },
                 {},
                 ProblemNumber::weakly_determined,
                 {"Y coordinate of the centre of axis A is not determined"},
                 {"no touch comes along Y"}});
  all.push_back({"unknown diameter, touched from above and along X",
                 [] {
                   Scenario s = with_artefacts(
                       "table", {c_table()}, {ball("ball", 0, {-220, -200, -200})}, full_circle(6));
                   s.machine.artefacts[0].diameter_u_mm.reset();
                   touch_only(s, {{0, z_axis, 0.0, Eigen::Vector3d::Zero()},
                                  {0, x_axis, 0.0, Eigen::Vector3d::Zero()}});
                   return s;
                 },
                 {},
                 ProblemNumber::weakly_determined,
                 {"Y coordinate of the centre of axis C is not determined"},
                 {"no touch comes along Y"}});
  all.push_back({"pin touched in one section only",
                 [] {
                   Scenario s = with_artefacts(
                       "pin", {a_table()}, {artefact("pin", ArtefactKind::pin, 0, centre, x_axis)},
                       full_circle(6));
                   for (StationTarget& station : s.stations) {
                     station.touches = round_pattern(s.machine, 0, station.angles_rad, 6, 20.0,
                                                     z_axis, std::numbers::pi);
                   }
                   return s;
                 },
                 {},
                 ProblemNumber::not_observable,
                 {"lean of axis A"},
                 {"second height", "along axis A"}});
  all.push_back({"a flat across the axis and nothing else",
                 [] {
                   return with_artefacts("face", {a_table()},
                                         {artefact("plate", ArtefactKind::flat, 0, centre, x_axis)},
                                         full_circle(6));
                 },
                 {},
                 ProblemNumber::weakly_determined,
                 {"centre of axis A"},
                 {"a ball, a pin or a bore"}});
  all.push_back({"drift asked for, no times recorded",
                 [] { return fourth_axis(8, 4, 1); },
                 {OptionalUnknown::drift},
                 ProblemNumber::not_observable,
                 {"the drift along"},
                 {"record the times", "repeat the first station"}});
  all.push_back({"stylus offset asked for, spindle never turned",
                 [] { return fourth_axis(8, 4, 1); },
                 {OptionalUnknown::stylus_offset},
                 ProblemNumber::not_observable,
                 {"the stylus offset in"},
                 {"spindle turned by 180 deg", "flip"}});
  all.push_back({"reversal asked for, every angle reached from one side",
                 [] { return fourth_axis(8, 4, 1); },
                 {OptionalUnknown::reversal},
                 ProblemNumber::not_observable,
                 {"the reversal of axis A"},
                 {"some angles from below and some from above"}});
  all.push_back({"lobing asked for, touched from above and one side only",
                 [] {
                   Scenario s = fourth_axis(8, 4, 1);
                   touch_only(s, {{0, z_axis, 0.0, Eigen::Vector3d::Zero()},
                                  {0, x_axis, 0.0, Eigen::Vector3d::Zero()},
                                  {0, -x_axis, 0.0, Eigen::Vector3d::Zero()},
                                  {0, Eigen::Vector3d::UnitY(), 0.0, Eigen::Vector3d::Zero()}});
                   return s;
                 },
                 {OptionalUnknown::lobing},
                 ProblemNumber::weakly_determined,
                 {"axis A is not determined"},
                 {"or fit without --with"}});
  all.push_back({"too few readings",
                 [] {
                   Scenario s = fourth_axis(3, 4, 1);
                   touch_only(s, {{0, z_axis, 0.0, Eigen::Vector3d::Zero()}});
                   return s;
                 },
                 {},
                 ProblemNumber::too_few_touches,
                 {"3 readings cannot determine 8 unknowns"},
                 {"add stations or touches"}});
  all.push_back({"an axis that stood away from 0",
                 [] {
                   return with_artefacts(
                       "trunnion", {a_table(), c_table()}, {ball("ball", 1, {-240, -200, -160})},
                       {degrees(20, 0), degrees(20, 90), degrees(20, 180), degrees(20, 270)});
                 },
                 {},
                 ProblemNumber::axis_never_turned,
                 {"axis A stood at 20.0000 deg throughout"},
                 {"touch at A = 0", "two or more further angles of A"}});
  all.push_back({"no axis turned",
                 [] {
                   return with_artefacts("4th", {a_table()}, {ball("ball", 0, {-270, -200, -190})},
                                         {degrees(0), degrees(0)});
                 },
                 {},
                 ProblemNumber::axis_never_turned,
                 {"no rotary axis was turned"},
                 {"three or more different angles"}});
  all.push_back({"three angles within half a degree",
                 [] {
                   return with_artefacts("4th", {a_table()}, {ball("ball", 0, {-270, -200, -190})},
                                         {degrees(0), degrees(0.2), degrees(0.4)});
                 },
                 {},
                 ProblemNumber::weakly_determined,
                 {"axis A is not determined: U95 would be", "mm"},
                 {"A"}});
  all.push_back({"the other turn sense",
                 [] {
                   Scenario s = fourth_axis(8, 4, 1);
                   s.truth.state.turns[0] = TurnSense::right_hand;
                   return s;
                 },
                 {},
                 ProblemNumber::wrong_turn_sense,
                 {"axis A turns the other way", "with the other sense"},
                 {"positive_turn"}});
  return all;
}

std::string described(const Problems& problems) {
  std::string all;
  for (const Problem& problem : problems) all += describe(problem) + "\n  " + problem.advice + "\n";
  return all;
}

bool said(const Problems& problems, const std::string& word, bool in_advice) {
  for (const Problem& problem : problems) {
    const std::string& text = in_advice ? problem.advice : problem.what;
    if (text.find(word) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("what the touches cannot determine is refused by name, with what to add") {
  for (const RefusedStory& story : refused_stories()) {
    INFO(story.story);
    const Scenario s = story.scenario();
    Survey survey = survey_of(s);
    if (story.story.find("no times") != std::string::npos) {
      for (Touch& touch : survey.touches) touch.time_s.reset();
    }
    FitOptions options;
    options.unknowns = story.unknowns;
    const Expected<FitResult> result = fit_survey(s.machine, survey, options);
    REQUIRE_FALSE(result.has_value());
    const Problems& problems = result.error();
    INFO(described(problems));
    CHECK(problems.front().number == story.number);
    for (const std::string& word : story.names) {
      INFO("must name: ", word);
      CHECK(said(problems, word, false));
    }
    for (const std::string& word : story.adds) {
      INFO("must advise: ", word);
      CHECK(said(problems, word, true));
    }
    for (const Problem& problem : problems) CHECK_FALSE(problem.advice.empty());
  }
}

TEST_CASE("what is refused in a fit is refused in a plan, before anything moves") {
  for (const RefusedStory& story : refused_stories()) {
    const bool geometry = story.unknowns.empty() && story.number != ProblemNumber::wrong_turn_sense;
    if (!geometry) continue;
    INFO(story.story);
    Scenario s = story.scenario();
    SurveyTruth nominal;
    nominal.state = nominal_state(s.machine);
    const Survey planned =
        synthesise_survey(s.machine, nominal, nominal.state, s.stations, SurveyNoise{});
    const Expected<FitResult> result = predict_fit(s.machine, planned);
    REQUIRE_FALSE(result.has_value());
    INFO(described(result.error()));
    // On the exact nominal surfaces a direction seen barely, through noise, is not seen at all.
    const ProblemNumber number = result.error().front().number;
    CHECK((number == story.number || (number == ProblemNumber::not_observable &&
                                      story.number == ProblemNumber::weakly_determined)));
  }
}

TEST_CASE("what is added as advised is accepted") {
  Scenario equator =
      with_artefacts("table", {c_table()}, {ball("ball", 0, {-220, -200, -200})}, full_circle(6));
  touch_only(equator, ball_pattern(0, 6, 0.3, true));
  CHECK(fit_survey(equator.machine, survey_of(equator)).has_value());

  const Scenario two_sections = with_artefacts(
      "pin", {a_table()}, {artefact("pin", ArtefactKind::pin, 0, centre, x_axis)}, full_circle(6));
  CHECK(fit_survey(two_sections.machine, survey_of(two_sections)).has_value());

  Scenario both_ways = fourth_axis(8, 4, 1);
  const std::vector<StationTarget> back(both_ways.stations.rbegin(), both_ways.stations.rend());
  both_ways.stations.insert(both_ways.stations.end(), back.begin(), back.end());
  FitOptions options;
  options.unknowns = {OptionalUnknown::reversal};
  CHECK(fit_survey(both_ways.machine, survey_of(both_ways), options).has_value());
}

TEST_CASE("no touches at all") {
  const Scenario s = fourth_axis(8, 4, 1);
  const Expected<FitResult> result = fit_survey(s.machine, Survey{});
  REQUIRE_FALSE(result.has_value());
  CHECK(result.error().front().number == ProblemNumber::no_data);
}

TEST_CASE("touches metres away from anything: no solution, and it is said what to check") {
  const Scenario s = fourth_axis(8, 4, 1);
  Survey survey = survey_of(s);
  RandomStream random(5);
  for (Touch& touch : survey.touches) touch.shown_mm += 3000.0 * random_direction(random);
  const Expected<FitResult> result = fit_survey(s.machine, survey);
  if (result) {
    CHECK_FALSE(result->usable);
  } else {
    CHECK_FALSE(result.error().front().advice.empty());
  }
}

TEST_CASE("options that make no sense are refused by name") {
  const Scenario s = fourth_axis(8, 4, 1);
  const Survey survey = survey_of(s);
  FitOptions options;
  options.location_limit_mm = -1.0;
  options.max_iterations = 0;
  const Expected<FitResult> result = fit_survey(s.machine, survey, options);
  REQUIRE_FALSE(result.has_value());
  CHECK(result.error().size() == 2);  // all problems at once
  for (const Problem& problem : result.error()) CHECK(problem.number == ProblemNumber::bad_options);
  TrialOptions trials;
  trials.trials = 10;
  trials.threads = -1;
  const auto refused = run_trials(s.machine, survey, {}, trials);
  REQUIRE_FALSE(refused.has_value());
  CHECK(refused.error().size() == 2);
}

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <limits>
#include <random>

#include "example_machine.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/find_plan.h"
#include "pivotrace/plan/foresight.h"
#include "pivotrace/report/plan_text.h"
#include "plan/efficiency_machines.h"
#include "plan/proof.h"
#include "plan/visit_search.h"

using namespace pivotrace;
using pivotrace::testing::example;
using pivotrace::testing::head_with_table;
using pivotrace::testing::without_bias;

namespace {

PlanOutcome found(const Machine& machine, double minutes) {
  FindRequest request;
  request.minutes = minutes;
  request.stop_when_reached = false;
  auto outcome = find_plan(machine, request);
  if (!outcome) {
    for (const Problem& problem : outcome.error()) MESSAGE(describe(problem));
  }
  REQUIRE(outcome.has_value());
  return *outcome;
}

double worst(const PlanOutcome& outcome) {
  double ratio = 0.0;
  for (const WantedValue& value : outcome.wanted) {
    ratio = std::max(ratio, value.reached / value.scale());
  }
  return ratio;
}

}  // namespace

TEST_CASE(
    "the tilting axis of a trunnion is known four times better than by circles, in less time, and "
    "nothing "
    "worse") {
  const Machine machine = example("trunnion");
  PlanRequest regular;
  regular.purpose = Purpose::commissioning;
  const auto before = make_plan(machine, regular);
  REQUIRE(before.has_value());
  const auto searched = find_plan(machine, request_for(Purpose::commissioning, machine));
  REQUIRE(searched.has_value());
  const PlanOutcome& now = *searched;
  CHECK(now.plan.minutes <= 6.4 + 1e-9);
  REQUIRE(now.certificate.has_value());
  CHECK(now.certificate->efficiency() >= 0.85);
  for (const PredictedOutput& output : now.plan.predicted) {
    CAPTURE(text_of(output.name));
    const auto old = std::ranges::find(before->plan.predicted, output.name, &PredictedOutput::name);
    REQUIRE(old != before->plan.predicted.end());
    CHECK(output.U95_absolute <= old->U95_absolute);
  }
  CHECK(now.plan.minutes < 0.6 * before->plan.minutes);
  CHECK(check_plan(machine, now.plan).empty());
  for (const AxisResult& axis : now.prediction.axes) {
    for (const AxisResult& old : before->prediction.axes) {
      if (axis.letter != old.letter) continue;
      for (std::size_t k = 0; k < axis.centre.size(); ++k) {
        CAPTURE(text_of(axis.centre[k].name));
        const double times = axis.letter == 'A' ? 4.0 : 1.0;
        CHECK(times * axis.centre[k].estimate.u <= old.centre[k].estimate.u);
        if (axis.letter != 'A') continue;
        CHECK(times * axis.orientation[k].estimate.u <= old.orientation[k].estimate.u);
      }
    }
  }
}

TEST_CASE("what was planned can be run, is checked throughout and comes near what is possible") {
  struct Case {
    const char* name;
    double minutes;
    double efficiency;  // held here; the figures wanted stand in the benchmark
  };
  for (const Case& c : {Case{"fourth-axis", 8.0, 0.85}, Case{"swivel-head", 5.0, 0.85}}) {
    CAPTURE(c.name);
    const Machine machine = without_bias(example(c.name));
    const PlanOutcome outcome = found(machine, c.minutes);
    CHECK(check_plan(machine, outcome.plan).empty());
    CHECK(outcome.plan.minutes >= 0.9 * c.minutes);
    CHECK(outcome.plan.minutes <= c.minutes + 1e-9);
    CHECK(outcome.least_redundancy >= least_redundancy_of_touch);
    REQUIRE(outcome.certificate.has_value());
    CHECK(outcome.certificate->bound <= outcome.certificate->reached);
    CHECK(outcome.certificate->efficiency() > c.efficiency);
    MESSAGE(c.name << " efficiency " << outcome.certificate->efficiency());
    CHECK(plan_text(machine, outcome).find("Proof: no survey of") != std::string::npos);
  }
}

TEST_CASE("a plan that was edited is predicted anew, beside what is possible in its minutes") {
  const Machine machine = example("fourth-axis");
  const PlanOutcome made = found(machine, 5.0);
  const auto same = judge_plan(machine, made.plan);
  REQUIRE(same.has_value());
  CHECK(same->plan.minutes == doctest::Approx(made.plan.minutes));
  CHECK(same->certificate->efficiency() > 0.0);
  CHECK(same->certificate->bound <= same->certificate->reached);
  Plan shorter = made.plan;
  shorter.stations.erase(shorter.stations.begin() + 2, shorter.stations.begin() + 5);
  const auto less = judge_plan(machine, shorter);
  REQUIRE(less.has_value());
  CHECK(less->plan.minutes < same->plan.minutes);
  CHECK(less->certificate->reached > same->certificate->reached);
  CHECK(less->certificate->bound > same->certificate->bound);
  CHECK(judged_plan_text(machine, *less).find("Proof: no survey of") != std::string::npos);
  shorter.stations.resize(1);
  CHECK_FALSE(judge_plan(machine, shorter).has_value());
}

TEST_CASE(
    "after the first turn of an axis, however small, a finding pass follows, as a proof counts") {
  for (const char* name : {"fourth-axis", "trunnion"}) {
    CAPTURE(name);
    const Machine machine = example(name);
    const auto visits = certified_visits(machine, request_for(Purpose::commissioning, machine));
    REQUIRE(visits.has_value());
    std::vector<PlannedStation> stays;
    for (const CertifiedVisit& visit : *visits) {
      const bool known = !stays.empty() && stays.back().angles_rad == visit.station.angles_rad;
      if (!known) stays.push_back(visit.station);
    }
    int turns = 0;
    int fewest = 9;
    for (const PlannedStation& from : stays) {
      for (const PlannedStation& to : stays) {
        double turn = 0.0;
        for (std::size_t i = 0; i < from.angles_rad.size(); ++i) {
          turn += std::abs(to.angles_rad[i] - from.angles_rad[i]);
        }
        if (turn == 0.0 || turn > rad_from_deg(10.5)) continue;
        Plan plan;
        plan.distances.rough = 3.0;
        plan.stations = {from, to};
        fewest = std::min(fewest, foresee(machine, plan).stations[1].front().finding_passes);
        ++turns;
      }
    }
    CHECK(turns > 50);
    CHECK(fewest >= 1);
  }
}

TEST_CASE("more minutes never make a plan worse, and the same request makes the same plan") {
  const Machine machine = example("fourth-axis");
  double last = 1e9;
  for (const double minutes : {2.5, 3.0, 3.7, 4.0, 5.2, 6.0, 8.0}) {
    CAPTURE(minutes);
    const PlanOutcome outcome = found(machine, minutes);
    CHECK(worst(outcome) <= last * (1.0 + 1e-12));
    last = worst(outcome);
    CHECK(identity_of(found(machine, minutes).plan) == identity_of(outcome.plan));
  }
}

TEST_CASE("a plan is no worse than those of a little less time") {
  // Few angles, few visits: whole visits come out evenly at some minutes and not at others.
  test::RandomMachine random(1410);
  const Machine machine = testing::without_bias(random.machine(test::Setup::ball_on_axis));
  double last = 1e9;
  for (const double minutes : {6.5, 6.9, 7.2, 8.1, 8.2, 8.25}) {
    CAPTURE(minutes);
    const PlanOutcome outcome = found(machine, minutes);
    CHECK(worst(outcome) <= last * (1.0 + 1e-12));
    CHECK(outcome.plan.minutes <= minutes + 1e-9);
    CHECK(outcome.plan.minutes >= 0.9 * minutes);
    last = worst(outcome);
  }
}

namespace {

/// U95 of one value, normal factor, of visits in no order: no drift.
double unordered_U95(const VisitMaker& maker, const VisitSum& sum, Eigen::Index value,
                     Eigen::VectorXd bounds) {
  if (const int drift = maker.first_drift_effect(); drift >= 0) {
    bounds.segment<3>(drift - maker.common_effects()).setZero();
  }
  return VisitMaker::expanded(
      maker.prospect(sum.variances()[value], sum.responses().col(value), bounds));
}

}  // namespace

TEST_CASE(
    "the chord below the quantile of u and B together is below it, and meets it at its ends") {
  for (const double low : {0.0, 0.3, 2.0}) {
    for (const double high : {0.5, 3.0, 40.0}) {
      if (high <= low) continue;
      const Chord chord = chord_below(low, high);
      const Chord open = chord_below(low, std::numeric_limits<double>::infinity());
      for (int k = 0; k <= 100; ++k) {
        const double t = low + (high - low) * k / 100.0;
        const double U = VisitMaker::expanded({1.0, std::sqrt(t)});
        CHECK(chord.of_u + chord.of_B * t <= U * U + 1e-3);
        CHECK(open.of_u + open.of_B * t <= U * U + 1e-3);
        if (k % 100 == 0) CHECK(chord.of_u + chord.of_B * t == doctest::Approx(U * U));
      }
    }
  }
}

TEST_CASE("no random plan is better than the certificate allows, with what is assumed or without") {
  for (const auto& [name, biased] : {std::pair{"fourth-axis", false},
                                     {"fourth-axis", true},
                                     {"trunnion", false},
                                     {"swivel-head", true}}) {
    CAPTURE(name);
    CAPTURE(biased);
    const Machine machine = biased ? example(name) : without_bias(example(name));
    const PlanOutcome outcome = found(machine, 5.0);
    const double minutes = outcome.plan.minutes;
    const std::vector<int> axes =
        machine.rotary.size() > 1 ? std::vector<int>{1, 0} : std::vector<int>{0};
    const CandidateSet set = find_candidates(machine, axes, {}, outcome.plan.distances);
    const CandidateRows rows = rows_of(machine, set, outcome.plan.distances);
    VisitSum sum(rows.maker);
    constexpr unsigned seed = 20260;
    CAPTURE(seed);
    std::mt19937 random(seed);
    double best = 1e9;
    for (int round = 0; round < 2000; ++round) {
      std::vector<const Visit*> visits;
      double taken = 0.0;
      while (true) {
        // Never more minutes than the plan: the turns of a random order are not even counted.
        const std::size_t k = random() % set.candidates.size();
        taken += set.candidates[k].touch_minutes + 0.05;
        if (taken > minutes) break;
        visits.push_back(&rows.visits[k]);
      }
      if (!sum.take(visits)) continue;
      double ratio = 0.0;
      for (std::size_t k = 0; k < outcome.wanted.size(); ++k) {
        const auto at = static_cast<Eigen::Index>(k);
        const double U = unordered_U95(rows.maker, sum, at, sum.found_bounds());
        ratio = std::max(ratio, U / outcome.wanted[k].scale());
      }
      best = std::min(best, ratio);
    }
    MESSAGE(name << ": best of 2000 random plans " << best << ", bound "
                 << outcome.certificate->bound);
    CHECK(best >= outcome.certificate->bound);
  }
}

TEST_CASE("hostile machines get a plan or a clear reason") {
  Machine machine = example("trunnion");
  SUBCASE("a wall of a thousand kilometres on the bed, and one that turns") {
    for (const int carrier : {-1, 1}) {
      Obstacle wall;
      wall.name = "wall";
      wall.carried_by = carrier;
      wall.from_mm = {-480.0, -440.0, -390.0};
      wall.to_mm = {-410.0, 1e9, -280.0};
      Machine walled = machine;
      walled.obstacles.push_back(wall);
      FindRequest request;
      request.minutes = 5.0;
      const auto outcome = find_plan(walled, request);
      if (outcome) CHECK(check_plan(walled, outcome->plan).empty());
      if (!outcome) CHECK_FALSE(outcome.error().front().what.empty());
    }
  }
  SUBCASE("one degree of travel") {
    machine.rotary[0].travel_rad = {rad_from_deg(-5.5), rad_from_deg(0.5)};
    FindRequest request;
    request.minutes = 5.0;
    const auto outcome = find_plan(machine, request);
    if (!outcome) CHECK_FALSE(outcome.error().front().what.empty());
  }
  SUBCASE("nothing can be reached") {
    machine.probe.stylus_length_mm = 1.0;
    machine.probe.holder_diameter_mm = 400.0;
    machine.probe.holder_length_mm = 300.0;
    const auto outcome = find_plan(machine, {});
    REQUIRE_FALSE(outcome.has_value());
    CHECK(outcome.error().front().what.find("can be reached") != std::string::npos);
    CHECK(outcome.error().front().what.size() < 2000);
  }
  SUBCASE("a slanted axis, inches") {
    machine.inch = true;
    machine.rotary[1].along.reset();
    machine.rotary[1].direction = Eigen::Vector3d(0.3, 0.0, 1.0).normalized();
    FindRequest request;
    request.minutes = 6.0;
    const auto outcome = find_plan(machine, request);
    if (outcome) CHECK(check_plan(machine, outcome->plan).empty());
    if (!outcome) CHECK_FALSE(outcome.error().front().what.empty());
  }
}

namespace {

/// What every hostile machine has to get within 30 s of processor time, and no crash.
void check_plan_or_reason(const Machine& machine) {
  FindRequest request;
  request.minutes = 5.0;
  const std::clock_t begin = std::clock();
  const auto outcome = find_plan(machine, request);
  CHECK(static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC < 30.0);
  if (outcome) {
    CHECK(check_plan(machine, outcome->plan).empty());
    CHECK(outcome->plan.stations.size() >= 4);
    return;
  }
  REQUIRE_FALSE(outcome.error().empty());
  const Problem& why = outcome.error().front();
  MESSAGE(why.what);
  CHECK_FALSE(why.what.empty());
  CHECK_FALSE(why.advice.empty());
  CHECK(why.what.size() < 2000);
}

}  // namespace

TEST_CASE("pins, bores, flats and two balls get a plan or a clear reason") {
  for (const test::Setup setup :
       {test::Setup::pin_in_chuck, test::Setup::bore_on_table, test::Setup::ball_and_flat}) {
    for (const std::uint64_t seed : {1451, 1452}) {
      CAPTURE(test::word_of(setup));
      CAPTURE(seed);
      test::RandomMachine random(seed);
      check_plan_or_reason(random.machine(setup));
    }
  }
  Machine machine = example("trunnion");
  machine.artefacts.push_back(machine.artefacts.front());
  machine.artefacts.back().name = "second ball";
  machine.artefacts.back().at_mm += Eigen::Vector3d(-140.0, 0.0, 25.0);
  check_plan_or_reason(machine);
}

TEST_CASE("a search that is stopped gives the best so far") {
  const Machine machine = example("fourth-axis");
  FindRequest request;
  request.minutes = 8.0;
  request.stop_when_reached = false;
  request.progress = [](double part) { return part < 0.2; };
  const auto outcome = find_plan(machine, request);
  REQUIRE(outcome.has_value());
  CHECK(outcome->stopped_early);
  CHECK(outcome->plan.minutes < 6.0);
  CHECK(check_plan(machine, outcome->plan).empty());
}

// A short version of the coverage and blunder studies (tests/benchmarks/coverage.cpp is the long
// one). Counts are judged by the binomial distribution: if every promise holds exactly, one of all
// these checks fails by bad luck once in a hundred seeds; the seed is fixed and printed, so a failure
// repeats.
#include <doctest/doctest.h>

#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <cstdlib>
#include <thread>

#include "pivotrace/results/statistics.h"
#include "studies.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

constexpr int surveys = 100;
/// Six jobs, four outputs, three questions, and ten lines of blunders.
constexpr double false_alarm = 0.01 / (6 * 4 * 3 + 10);

std::uint64_t chosen_seed() {
  const char* text = std::getenv("PIVOTRACE_COVERAGE_SEED");
  return text != nullptr ? std::strtoull(text, nullptr, 10) : 20261128ULL;
}

int threads() { return static_cast<int>(std::max(1U, std::thread::hardware_concurrency())); }

/// Fewest successes of `count` that happen with more than the false-alarm rate at probability `p`.
double fewest(int count, double p) {
  return boost::math::quantile(boost::math::binomial(count, p), 0.5 * false_alarm);
}

double most(int count, double p) {
  return boost::math::quantile(
      boost::math::complement(boost::math::binomial(count, p), 0.5 * false_alarm));
}

}  // namespace

TEST_CASE("U95 holds the truth in 95 of 100 surveys, on six jobs") {
  const std::uint64_t seed = chosen_seed();
  MESSAGE("seed ", seed, ": PIVOTRACE_COVERAGE_SEED repeats another one");
  for (const Job& job : coverage_jobs()) {
    INFO(job.name, ", seed ", seed);
    const CoverageResult result = coverage(job, surveys, seed, threads());
    CHECK(result.refused == 0);
    REQUIRE(result.rows.size() >= 4);
    for (const CoverageRow& row : result.rows) {
      INFO(text_of(row.output), ": held ", row.held, " of ", row.surveys);
      CHECK(row.held >= fewest(row.surveys, 0.95));
      // Sigmas that are exactly the file's are counted as uncertain all the same.
      CHECK(row.held <= most(row.surveys, 0.985));
      // (n - 1) s^2 / bound^2 is chi-squared for normal errors; 3 % more is what the bar allows.
      const double dof = row.surveys - 1.0;
      const double squared = row.efficiency() * row.efficiency() * row.surveys;
      CHECK(squared > chi_squared_quantile(0.5 * false_alarm, dof) * 0.97 * 0.97);
      CHECK(squared < chi_squared_quantile(1.0 - 0.5 * false_alarm, dof) * 1.03 * 1.03);
      const double sigmas = -normal_quantile(0.5 * false_alarm);
      CHECK(std::abs(row.bias_in_u()) < 0.05 + sigmas / std::sqrt(row.surveys));
    }
  }
}

TEST_CASE("bad touches and slipped stations are found, good touches stay, the centre holds") {
  const std::uint64_t seed = chosen_seed();
  MESSAGE("seed ", seed);
  const std::vector<Job> jobs = coverage_jobs();
  const auto study = [&](const Job& job, int fewer, int touches, bool slip, bool in_air) {
    const BlunderResult result = blunders(job, touches, slip, in_air, fewer, seed, threads());
    INFO(job.name, ": ", touches, " touches", slip ? ", slip" : "", in_air ? ", in air" : "",
         "; found ", result.found, " of ", result.bad_touches, ", lost ", result.good_lost, " of ",
         result.good_touches, ", held ", result.centre_held, " of ", result.surveys);
    CHECK(result.centre_held >= fewest(result.surveys, 0.95));
    // A slip goes as a whole or not at all: its touches count once.
    const int chances = slip ? result.surveys : result.bad_touches;
    CHECK(result.share_found() >= fewest(chances, 0.97) / chances);
    // Each station loses one of its touches by level 0.1 % a touch, or all of them by level 0.1 % a
    // station, in two searches (under the stated and under the estimated sigmas). In whole stations:
    const int stations = fewer * static_cast<int>(job.scenario.stations.size());
    const double per_station = static_cast<double>(result.good_touches) / stations;
    CHECK(result.good_lost / per_station <= most(stations, 2.0 * 0.002));
  };
  for (const auto& [which, fewer] :
       {std::pair{std::size_t{0}, 40}, std::pair{std::size_t{1}, 12}}) {
    study(jobs[which], fewer, 1, false, false);
    study(jobs[which], fewer, 3, false, false);
    study(jobs[which], fewer, 1, false, true);
    study(jobs[which], fewer, 0, true, false);
  }
}

TEST_CASE("whatever kind of survey, no disturbance at its bound shifts a value by more than B") {
  for (Job& job : all_jobs()) {
    job.scenario.machine.bounds = StatedBounds{};
    for (const Bound& bound : bounds_in_force(job.scenario.machine)) {
      if (!job.disturbed_by(bound)) continue;
      const WorstCase worst = worst_case(job, bound);
      INFO(job.name, ", ", std::string(text_of(bound.kind)), " on ", text_of(worst.output));
      // The simulator is not linear in what disturbs it, the fit counts as if it were.
      constexpr double curved = 1.03;
      CHECK(worst.shift <= curved * worst.counted);
    }
  }
}

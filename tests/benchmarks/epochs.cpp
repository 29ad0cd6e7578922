// What compare says of pairs of surveys whose truth is known: false alarms, changes just visible, causes.
//
//   epochs [PAIRS [SEED [still|changed|tolerance|causes]]]      PAIRS for each line of a job
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <string_view>
#include <thread>

#include "epoch_study.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::testing;

/// Standard error of a share, in percent.
double error_percent(double share, int of) { return 100.0 * std::sqrt(share * (1.0 - share) / of); }

std::string share_text(int count, int of) {
  const double share = of > 0 ? static_cast<double>(count) / of : 0.0;
  return fmt::format("{:>7.2f} +- {:.2f} %", 100.0 * share,
                     of > 0 ? error_percent(share, of) : 0.0);
}

struct Story {
  const char* name;
  BetweenSurveys between;
};

/// A ball of another size in another place.
void another_ball(Job& job) {
  for (std::size_t a = 0; a < job.scenario.machine.artefacts.size(); ++a) {
    Artefact& artefact = job.scenario.machine.artefacts[a];
    auto& truth = job.scenario.truth.state.artefacts[a];
    artefact.diameter_mm = artefact.diameter_mm.value_or(0.0) + 4.0;
    truth.radius_mm += 2.0;
    artefact.at_mm += Eigen::Vector3d(3.0, -4.0, 6.0);
    truth.point_mm += Eigen::Vector3d(3.0, -4.0, 6.0);
  }
}

/// Half-way between the angles of the first survey, its last station left out.
void another_plan(Job& job) {
  std::vector<StationTarget>& stations = job.scenario.stations;
  for (std::size_t s = 0; s + 1 < stations.size(); ++s) {
    for (int axis = 0; axis < max_rotary_axes; ++axis) {
      stations[s].angles_rad[axis] =
          0.5 * (stations[s].angles_rad[axis] + stations[s + 1].angles_rad[axis]);
    }
  }
  if (stations.size() > 4) stations.pop_back();
}

void still(const std::vector<Job>& jobs, int pairs, std::uint64_t seed, int threads) {
  const Story stories[] = {
      {"one probe, same seat", {.own_probe = false, .sigmas_drawn = true}},
      {"one probe, remounted", {.remounted = true, .own_probe = false, .sigmas_drawn = true}},
      {"probe calibrated between, remounted", {.remounted = true, .sigmas_drawn = true}},
      {"another ball elsewhere", {.sigmas_drawn = true, .later = another_ball}},
      {"another plan", {.own_probe = false, .sigmas_drawn = true, .later = another_plan}},
      {"all bounds drawn, one probe, remounted",
       {.remounted = true,
        .own_probe = false,
        .sigmas_drawn = true,
        .disturbed = true,
        .between_surveys_mm = 0.003}}};
  fmt::print("seed {}\nNOTHING MOVED: survey-wide false alarms at the 1 % level ({} pairs a job)\n",
             seed, pairs);
  for (const Story& story : stories) {
    PairCounts all;
    for (const Job& job : jobs) {
      const PairCounts counts = still_pairs(job, story.between, pairs, seed, threads);
      all.pairs += counts.pairs;
      all.moved += counts.moved;
      fmt::print("  {:<38}{:<40}{}{}\n", story.name, job.name,
                 share_text(counts.moved, counts.pairs),
                 counts.refused > 0 ? fmt::format("  ({} refused)", counts.refused) : "");
    }
    fmt::print("  {:<38}{:<40}{}\n", story.name, "ALL", share_text(all.moved, all.pairs));
    std::fflush(stdout);
  }
}

BetweenSurveys one_probe_remounted() {
  return {.remounted = true, .own_probe = false, .sigmas_drawn = true};
}

void changed(const std::vector<Job>& jobs, int pairs, std::uint64_t seed, int threads) {
  fmt::print("\nONE VALUE CHANGED by its smallest visible change: found; with all bounds drawn\n");
  BetweenSurveys bounded = one_probe_remounted();
  bounded.disturbed = true;
  bounded.between_surveys_mm = 0.003;
  for (const Job& job : jobs) {
    const PairCounts plain = changed_pairs(job, one_probe_remounted(), 1.0, pairs, seed, threads);
    const PairCounts with = changed_pairs(job, bounded, 1.0, pairs, seed, threads);
    fmt::print("  {:<40}{}  {}\n", job.name, share_text(plain.value_seen, plain.pairs),
               share_text(with.value_seen, with.pairs));
    std::fflush(stdout);
  }
}

void at_tolerances(const std::vector<Job>& jobs, int pairs, std::uint64_t seed, int threads) {
  fmt::print("\nONE VALUE CHANGED by its tolerance: said to be within it\n");
  constexpr double tolerance_in_U95 = 4.0;
  PairCounts all;
  for (const Job& job : jobs) {
    const PairCounts counts =
        at_tolerance(job, one_probe_remounted(), tolerance_in_U95, pairs, seed, threads);
    all.pairs += counts.pairs;
    all.value_seen += counts.value_seen;
    fmt::print("  {:<40}{}\n", job.name, share_text(counts.value_seen, counts.pairs));
    std::fflush(stdout);
  }
  fmt::print("  {:<40}{}\n", "ALL", share_text(all.value_seen, all.pairs));
}

void causes(const std::vector<Job>& jobs, int pairs, std::uint64_t seed, int threads) {
  fmt::print(
      "\nWHAT MOVED, at three times its smallest visible size: the true cause on the first "
      "line; another one claimed with 95 %\n");
  for (const Job& job : jobs) {
    for (const Movement& movement : movements(job)) {
      const PairCounts counts = moved_pairs(job, movement, 3.0, pairs, seed, threads);
      fmt::print("  {:<40}{:<28}{}  {}\n", job.name, movement.name,
                 share_text(counts.right, counts.pairs),
                 share_text(counts.surely_wrong, counts.pairs));
      std::fflush(stdout);
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  const int pairs = argc > 1 ? std::atoi(argv[1]) : 7000;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  const std::string_view part = argc > 3 ? argv[3] : "";
  const int threads = static_cast<int>(std::thread::hardware_concurrency());
  std::vector<Job> jobs = coverage_jobs();
  if (part.empty() || part == "still") still(jobs, pairs, seed, threads);
  if (part.empty() || part == "changed") changed(jobs, std::max(1, pairs / 2), seed, threads);
  if (part.empty() || part == "tolerance") {
    at_tolerances(jobs, std::max(1, pairs / 2), seed, threads);
  }
  jobs.push_back(further_jobs().front());
  if (part.empty() || part == "causes") causes(jobs, std::max(1, pairs / 7), seed, threads);
  return 0;
}

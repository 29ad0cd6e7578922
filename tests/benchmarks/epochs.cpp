// What compare says of pairs of surveys whose truth is known: false alarms, changes just visible, causes.
//
//   epochs [PAIRS [SEED [still|bounded|changed|foretold|tolerance|causes]]]      PAIRS for each line of a job
//
// Prints counts, a row each: part, story, job, pairs, counted, counted otherwise, refused. Rows of several
// seeds add up: sum_epochs.py.
#include <fmt/format.h>

#include <cstdlib>
#include <string_view>
#include <thread>

#include "epoch_study.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::testing;

/// `second`: what is counted beside, 0 where nothing is.
void print_row(std::string_view part, std::string_view story, const PairCounts& counts, int first,
               int second) {
  fmt::print("{}\t{}\t{}\t{}\t{}\t{}\t{}\n", part, story, counts.job, counts.pairs, first, second,
             counts.refused);
  std::fflush(stdout);
}

struct Story {
  const char* name;
  BetweenSurveys between;
};

std::vector<Story> without_bounds() {
  return {{"one probe, same seat", {.own_probe = false, .sigmas_drawn = true}},
          {"one probe, remounted", {.remounted = true, .own_probe = false, .sigmas_drawn = true}},
          {"probe calibrated between, remounted", {.remounted = true, .sigmas_drawn = true}},
          {"another ball elsewhere", {.sigmas_drawn = true, .later = another_ball}},
          {"another plan", {.own_probe = false, .sigmas_drawn = true, .later = another_plan}}};
}

BetweenSurveys remounted() { return {.remounted = true, .own_probe = false, .sigmas_drawn = true}; }

BetweenSurveys bounded() {
  BetweenSurveys between = remounted();
  between.disturbed = true;
  between.between_surveys_mm = 0.003;
  return between;
}

struct Run {
  std::vector<Job> jobs;
  int pairs = 0;
  std::uint64_t seed = 1;
  int threads = 1;
};

/// Counted: surveys said to differ.
void still(const Run& run, std::string_view part, const std::vector<Story>& stories) {
  for (const Story& story : stories) {
    for (const Job& job : run.jobs) {
      const PairCounts counts = still_pairs(job, story.between, run.pairs, run.seed, run.threads);
      print_row(part, story.name, counts, counts.moved, 0);
    }
  }
}

/// Counted: the value found; the test alone.
void changed(const Run& run) {
  for (const Story& story : {Story{"bounds 0", remounted()}, Story{"bounds drawn", bounded()}}) {
    for (const Job& job : run.jobs) {
      const PairCounts counts =
          changed_pairs(job, story.between, 1.0, run.pairs, run.seed, run.threads);
      print_row("changed", story.name, counts, counts.value_seen, counts.moved);
    }
  }
}

/// The same with the size that was foretold for the second survey before it was made.
void foretold(const Run& run) {
  for (const Job& job : run.jobs) {
    const PairCounts counts = foretold_pairs(job, remounted(), run.pairs, run.seed, run.threads);
    print_row("foretold", "bounds 0", counts, counts.value_seen, counts.moved);
  }
}

/// Counted: said to be within the tolerance.
void at_tolerances(const Run& run) {
  constexpr double tolerance_in_U95 = 4.0;
  for (const Job& job : run.jobs) {
    const PairCounts counts =
        at_tolerance(job, remounted(), tolerance_in_U95, run.pairs, run.seed, run.threads);
    print_row("tolerance", "at the tolerance", counts, counts.value_seen, 0);
  }
}

/// Counted: the true cause on the first line; another one claimed with 95 %.
void causes(Run run) {
  run.jobs.push_back(further_jobs().front());
  for (const Job& job : run.jobs) {
    for (const Movement& movement : movements(job)) {
      const PairCounts counts = moved_pairs(job, movement, 3.0, run.pairs, run.seed, run.threads);
      print_row("causes", movement.name, counts, counts.right, counts.surely_wrong);
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  Run run;
  run.jobs = coverage_jobs();
  run.pairs = argc > 1 ? std::atoi(argv[1]) : 1000;
  run.seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  run.threads = static_cast<int>(std::thread::hardware_concurrency());
  const std::string_view part = argc > 3 ? argv[3] : "";
  const auto wanted = [&](std::string_view name) { return part.empty() || part == name; };
  fmt::print("# epochs {} {} {}\n", run.pairs, run.seed, part);
  if (wanted("still")) still(run, "still", without_bounds());
  if (wanted("bounded")) still(run, "bounded", {{"all bounds drawn, remounted", bounded()}});
  if (wanted("changed")) changed(run);
  if (wanted("foretold")) foretold(run);
  if (wanted("tolerance")) at_tolerances(run);
  if (wanted("causes")) causes(run);
  return 0;
}

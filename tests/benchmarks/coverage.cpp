// How often U95 holds, what it costs to know less, how often a clean survey alarms: the tables of
// src/manual/accuracy.md.
//   cmake --build --preset release --target coverage && build/release/tests/benchmarks/coverage
// Arguments: surveys per job (default 10000), seed (default 1), part of a job's name (default: all),
// then the tables wanted: model, bounds, sigmas, blunders (default: all). The exit code is 1 when a
// promise is broken beyond chance (exact binomial, 0.001 shared over everything counted).
#include <fmt/format.h>

#include <cstdlib>
#include <cstring>
#include <thread>

#include "benchmarks/verdicts.h"
#include "estimate/studies.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::testing;

struct Study {
  int surveys;
  std::uint64_t seed;
  int threads;
  Verdicts verdicts{2000};

  void model(const Job& job) {
    struct Way {
      const char* words;
      bool draw_sigmas;
      bool draw_common;
      double low, high;
    };
    for (const Way& way :
         {Way{"sigmas drawn about the file's, absolute", true, true, 0.94, 0.96},
          Way{"sigmas exactly the file's, absolute", false, true, 0.94, 0.985},
          Way{"sigmas drawn about the file's, repeatable", true, false, 0.94, 0.96},
          Way{"sigmas exactly the file's, repeatable", false, false, 0.94, 0.985}}) {
      CoverageOptions options;
      options.draw_sigmas = way.draw_sigmas;
      options.draw_common = way.draw_common;
      const CoverageResult result = coverage(job, surveys, seed, threads, options);
      fmt::print("\n{}: {} ({} surveys, {} refused)\n", job.name, way.words, result.surveys,
                 result.refused);
      fmt::print("  {:<24}{:>10}{:>14}{:>12}{:>12}\n", "output", "U95 held", "spread/bound",
                 "bias/u", "U95/1.96 u");
      for (const CoverageRow& row : result.rows) {
        const bool good = verdicts.within(row.held, row.surveys, way.low, way.high);
        fmt::print("  {:<24}{:>8.2f} %{:>14.3f}{:>12.3f}{:>12.2f}{}\n", text_of(row.output),
                   100.0 * row.share(), row.efficiency(), row.bias_in_u(),
                   row.mean_U95 / (1.96 * row.bound), good ? "" : "  BROKEN");
      }
      const bool quiet = way.draw_sigmas || verdicts.within(result.alarmed, surveys, 0.0, 0.02);
      fmt::print("  warnings or errors in {:.2f} % of the surveys{}\n",
                 100.0 * result.alarmed / surveys, quiet ? "" : "  BROKEN");
      for (const auto& [code, count] : result.alarms) fmt::print("    {} {}\n", code, count);
      std::fflush(stdout);
    }
  }

  /// The file is silent: bounds are assumed. One at a time in its worst phase, then all drawn.
  void bounds(Job job) {
    const int fewer = std::max(1, surveys / 10);
    const CoverageResult knowing = coverage(job, fewer, seed, threads);
    job.scenario.machine.bounds = StatedBounds{};
    const SurveyFrame frame = frame_of_job(job);
    fmt::print("\n{}: the file silent about bounds ({} surveys a line)\n", job.name, fewer);
    for (const Bound& bound : bounds_in_force(job.scenario.machine)) {
      if (!job.disturbed_by(bound)) continue;
      const WorstCase worst = worst_case(job, bound);
      CoverageOptions options;
      options.disturb = [&](SurveyTruth& truth, int) {
        disturb(truth, bound, worst.components, frame);
      };
      const CoverageResult result = coverage(job, fewer, seed, threads, options);
      for (const CoverageRow& row : result.rows) {
        if (row.output != worst.output) continue;
        const bool good = verdicts.within(row.held, row.surveys, 0.94, 1.0);
        fmt::print("  {:<14}worst on {:<22}{:>6.2f} U95 {:>8.1f} %  alarms {:>5.1f} %{}\n",
                   text_of(bound.kind), text_of(worst.output), worst.shift_in_U95,
                   100.0 * row.share(), 100.0 * result.alarmed / fewer, good ? "" : "  BROKEN");
      }
      std::fflush(stdout);
    }
    CoverageOptions together;
    together.disturb = [&](SurveyTruth& truth, int k) {
      RandomStream random(seed + 17, static_cast<std::uint64_t>(k));
      for (const Bound& bound : bounds_in_force(job.scenario.machine)) {
        if (!job.disturbed_by(bound)) continue;
        disturb(truth, bound, drawn_components(bound, random), frame);
      }
    };
    const CoverageResult drawn = coverage(job, fewer, seed, threads, together);
    for (std::size_t i = 0; i < drawn.rows.size(); ++i) {
      const CoverageRow& row = drawn.rows[i];
      const bool good = verdicts.within(row.held, row.surveys, 0.95, 1.0);
      double price = 0.0;
      for (const CoverageRow& other : knowing.rows) {
        if (other.output == row.output) price = row.mean_U95 / other.mean_U95;
      }
      fmt::print("  all drawn     {:<31}{:>8.1f} %  price {:>5.2f}{}\n", text_of(row.output),
                 100.0 * row.share(), price, good ? "" : "  BROKEN");
    }
    fmt::print("  alarms {:.1f} %\n", 100.0 * drawn.alarmed / fewer);
    std::fflush(stdout);
  }

  void sigmas(const Job& job) {
    const int fewer = std::max(1, surveys / 10);
    for (const double share : {0.5, 1.0 / 3.0}) {
      CoverageOptions options;
      options.file = [share](Machine& machine) {
        machine.probe.touch_sigma_mm *= share;
        machine.linear.station_sigma_mm *= share;
        for (RotaryAxis& axis : machine.rotary) {
          axis.index_sigma_rad *= share;
          axis.axis_motion_sigma_mm *= share;
        }
      };
      const CoverageResult result = coverage(job, fewer, seed, threads, options);
      fmt::print("\n{}: sigmas of the file {:.2f} of the truth, alarm in {:.1f} %\n  ", job.name,
                 share, 100.0 * result.alarmed / fewer);
      for (const CoverageRow& row : result.rows) fmt::print("{:>7.1f} %", 100.0 * row.share());
      fmt::print("\n");
      std::fflush(stdout);
    }
  }

  void spoiled(const Job& job) {
    const int fewer = std::max(1, surveys / 10);
    fmt::print("\n{}\n  {:<44}{:>11}{:>12}{:>14}\n", job.name, "", "found", "good lost",
               "centre held");
    const auto line = [&](const char* what, int touches, bool slip, bool in_air) {
      const BlunderResult result = blunders(job, touches, slip, in_air, fewer, seed, threads);
      fmt::print("  {:<44}{:>9.1f} %{:>10.2f} %{:>12.1f} %\n", what, 100.0 * result.share_found(),
                 100.0 * result.share_lost(), 100.0 * result.share_held());
      std::fflush(stdout);
    };
    line("one touch off by 0.02 to 5 mm", 1, false, false);
    line("two touches", 2, false, false);
    line("three touches", 3, false, false);
    line("one trigger in air, 1 to 5 mm early", 1, false, true);
    line("one station slipped by 0.02 to 5 mm", 0, true, false);
  }
};

}  // namespace

int main(int argc, char** argv) {
  Study study{argc > 1 ? std::atoi(argv[1]) : 10000,
              static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1),
              static_cast<int>(std::thread::hardware_concurrency())};
  const std::string wanted_job = argc > 3 ? argv[3] : "";
  const auto wanted = [&](const char* table) {
    if (argc <= 4) return true;
    for (int k = 4; k < argc; ++k) {
      if (std::strcmp(argv[k], table) == 0) return true;
    }
    return false;
  };
  const std::vector<Job> jobs = all_jobs();
  for (std::size_t k = 0; k < jobs.size(); ++k) {
    if (jobs[k].name.find(wanted_job) == std::string::npos) continue;
    if (wanted("model")) study.model(jobs[k]);
    if (wanted("bounds")) study.bounds(jobs[k]);
    if (wanted("sigmas")) study.sigmas(jobs[k]);
    if (wanted("blunders") && (k == 0 || k == 1 || k == 3)) study.spoiled(jobs[k]);
  }
  fmt::print("\n{} promises broken (seed {})\n", study.verdicts.broken(), study.seed);
  return study.verdicts.broken() == 0 ? 0 : 1;
}

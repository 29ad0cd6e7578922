// Prints the coverage and blunder tables of src/manual/accuracy.md:
//   cmake --build --preset release --target coverage && build/release/tests/benchmarks/coverage
// Arguments: number of surveys per job (default 10000), seed (default 1).
#include <fmt/format.h>

#include <cstdlib>
#include <thread>

#include "estimate/studies.h"

namespace {

using namespace pivotrace::testing;

void print(const CoverageResult& result) {
  fmt::print("\n{} ({} surveys{})\n", result.job, result.surveys,
             result.refused > 0 ? fmt::format(", {} refused", result.refused) : "");
  fmt::print("  {:<18}{:>10}{:>14}{:>12}\n", "output", "U95 held", "spread/bound", "bias/u");
  for (const CoverageRow& row : result.rows) {
    fmt::print("  {:<18}{:>8.2f} %{:>14.3f}{:>12.3f}\n", text_of(row.output), 100.0 * row.share(),
               row.efficiency(), row.bias_in_u());
  }
}

void print(const BlunderResult& result) {
  fmt::print("  {:<44}{:>9.1f} %{:>10.2f} %{:>12.1f} %\n", result.story,
             100.0 * result.share_found(), 100.0 * result.share_lost(),
             100.0 * result.share_held());
}

}  // namespace

int main(int argc, char** argv) {
  const int surveys = argc > 1 ? std::atoi(argv[1]) : 10000;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  const int threads = static_cast<int>(std::thread::hardware_concurrency());
  const std::vector<Job> jobs = coverage_jobs();
  fmt::print("COVERAGE under the model (seed {})\n", seed);
  for (const Job& job : jobs) print(coverage(job, job.scenario.truth, surveys, seed, threads));

  fmt::print("\nCOVERAGE with what the model leaves out ({} surveys a line)\n  {:<42}{:<26}{}\n",
             surveys / 10, "job", "disturbance", "U95 held, per output");
  for (const Job& job : jobs) {
    for (const Disturbance& disturbance : disturbances()) {
      const CoverageResult result = coverage(job, disturbed(job.scenario, disturbance),
                                             std::max(1, surveys / 10), seed, threads);
      fmt::print("  {:<42}{:<26}", job.name, disturbance.name);
      for (const CoverageRow& row : result.rows) fmt::print("{:>7.1f} %", 100.0 * row.share());
      fmt::print("{}\n", result.refused > 0 ? fmt::format("  ({} refused)", result.refused) : "");
    }
  }

  fmt::print("\nBAD TOUCHES ({} surveys a line)\n  {:<44}{:>11}{:>12}{:>14}\n", surveys / 10, "",
             "found", "good lost", "centre held");
  const auto study = [&](const Job& job, const char* what, int touches, bool slip, bool in_air) {
    BlunderResult result =
        blunders(job, touches, slip, in_air, std::max(1, surveys / 10), seed, threads);
    result.story = what;
    print(result);
  };
  for (const std::size_t which : {std::size_t{0}, std::size_t{1}, std::size_t{3}}) {
    fmt::print("  {}\n", jobs[which].name);
    study(jobs[which], "  one touch off by 0.02 to 5 mm", 1, false, false);
    study(jobs[which], "  two touches", 2, false, false);
    study(jobs[which], "  three touches", 3, false, false);
    study(jobs[which], "  one trigger in air, 1 to 5 mm early", 1, false, true);
    study(jobs[which], "  one station slipped by 0.02 to 5 mm", 0, true, false);
  }
  return 0;
}

// Every demo, and twelve machines at random, rehearsed many times from the plan that is found for it: how
// often U95 holds the truth, how far U95 lies from what was predicted, and how far the minutes do.
//
//   plan_promises [SURVEYS [SEED]]                  default: 100 1
//   plan_promises SURVEYS SEED undisturbed          the demos, their files saying that nothing disturbs
//
// Bars: held 94 % or more, U95 0.9 to 1.1 of the prediction, minutes within 5 %. Undisturbed: every value held in
// 94 to 98.5 % where the machine errs by exactly its sigmas, in 94 to 96 % where they are drawn about them, by the
// exact binomial. Exit code 1 when one is missed or a survey was refused.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <iterator>

#include "benchmarks/verdicts.h"
#include "plan/efficiency_machines.h"
#include "rehearsal/planned_promises.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::test;
using pivotrace::testing::PlannedMachine;

bool promises_kept(const PlannedMachine& planned, int surveys, std::uint64_t seed) {
  const KeptPromises kept =
      kept_promises(searched_loop(planned.machine, Purpose::commissioning), surveys, seed);
  const bool met = kept.refused.empty() && kept.share_held() >= 0.94 &&
                   kept.least_reached() >= 0.9 && kept.most_reached() <= 1.1 &&
                   std::abs(kept.planned_minutes / kept.rehearsed_minutes - 1.0) <= 0.05;
  fmt::print(
      "{}: planned {:.2f} min, rehearsed {:.2f}; {} surveys, {} refused, held {:.1f} %, U95 "
      "{:.2f} to {:.2f} of the prediction: {}\n",
      planned.name, kept.planned_minutes, kept.rehearsed_minutes, surveys, kept.refused.size(),
      100.0 * kept.share_held(), kept.least_reached(), kept.most_reached(),
      met ? "met" : "NOT MET");
  for (const std::string& why : kept.refused) fmt::print("  refused: {}\n", why);
  for (const PromisedValue& value : kept.values) {
    fmt::print("  {:<20} held {:>3} of {}, U95 {:.2f} of the prediction\n", text_of(value.name),
               value.held, value.surveys, value.reached());
  }
  return met;
}

/// Whether none was refused; what the values say goes to `verdicts`.
bool rehearse_undisturbed(const PlannedMachine& planned, int surveys, std::uint64_t seed,
                          pivotrace::testing::Verdicts& verdicts) {
  Machine machine = planned.machine;
  machine.bounds = no_disturbance();
  const DemoLoop loop = searched_loop(machine, Purpose::commissioning);
  bool none_refused = true;
  struct Way {
    const char* words;
    Sigmas sigmas;
    double most;
  };
  for (const Way& way : {Way{"sigmas exactly the file's", Sigmas::exact, 0.985},
                         Way{"sigmas drawn about the file's", Sigmas::drawn, 0.96}}) {
    const KeptPromises kept = kept_promises(loop, surveys, seed, way.sigmas);
    fmt::print("{}: nothing disturbs, {}; {} surveys, {} refused\n", planned.name, way.words,
               surveys, kept.refused.size());
    none_refused = none_refused && kept.refused.empty();
    for (const PromisedValue& value : kept.values) {
      const bool good = verdicts.within(value.held, value.surveys, 0.94, way.most);
      fmt::print("  {:<20} held {:>5.1f} % of {}{}\n", text_of(value.name),
                 100.0 * value.held / value.surveys, value.surveys, good ? "" : "  BROKEN");
    }
    std::fflush(stdout);
  }
  return none_refused;
}

}  // namespace

int main(int count, char** arguments) {
  const int surveys = count > 1 ? std::atoi(arguments[1]) : 100;
  const std::uint64_t seed = count > 2 ? std::strtoull(arguments[2], nullptr, 10) : 1;
  std::vector<PlannedMachine> machines = pivotrace::testing::promising_machines();
  if (count > 3 && std::strcmp(arguments[3], "undisturbed") == 0) {
    pivotrace::testing::Verdicts verdicts(150);
    bool none_refused = true;
    for (const PlannedMachine& machine : machines) {
      none_refused = rehearse_undisturbed(machine, surveys, seed, verdicts) && none_refused;
    }
    return none_refused && verdicts.broken() == 0 ? 0 : 1;
  }
  bool all = true;
  std::ranges::move(pivotrace::testing::random_machines(), std::back_inserter(machines));
  for (const PlannedMachine& machine : machines) {
    all = promises_kept(machine, surveys, seed) && all;
    std::fflush(stdout);
  }
  return all ? 0 : 1;
}

// Every demo, and twelve machines at random, rehearsed many times from the plan that is found for it: how
// often U95 holds the truth, how far U95 lies from what was predicted, and how far the minutes do.
//
//   plan_promises [SURVEYS [SEED]]     default: 100 1
//
// Bars: held 94 % or more, U95 0.9 to 1.1 of the prediction, minutes within 5 %. Exit code 1 when one is missed.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <iterator>

#include "plan/efficiency_machines.h"
#include "rehearsal/planned_promises.h"

int main(int count, char** arguments) {
  using namespace pivotrace;
  using namespace pivotrace::test;
  const int surveys = count > 1 ? std::atoi(arguments[1]) : 100;
  const std::uint64_t seed = count > 2 ? std::strtoull(arguments[2], nullptr, 10) : 1;
  bool all = true;
  std::vector<pivotrace::testing::PlannedMachine> machines =
      pivotrace::testing::promising_machines();
  std::ranges::move(pivotrace::testing::random_machines(), std::back_inserter(machines));
  for (const auto& [name, machine] : machines) {
    const KeptPromises kept =
        kept_promises(searched_loop(machine, Purpose::commissioning), surveys, seed);
    const bool met = kept.refused.empty() && kept.share_held() >= 0.94 &&
                     kept.least_reached() >= 0.9 && kept.most_reached() <= 1.1 &&
                     std::abs(kept.planned_minutes / kept.rehearsed_minutes - 1.0) <= 0.05;
    all = all && met;
    fmt::print(
        "{}: planned {:.2f} min, rehearsed {:.2f}; {} surveys, {} refused, held {:.1f} %, U95 "
        "{:.2f} to "
        "{:.2f} of the prediction: {}\n",
        name, kept.planned_minutes, kept.rehearsed_minutes, surveys, kept.refused.size(),
        100.0 * kept.share_held(), kept.least_reached(), kept.most_reached(),
        met ? "met" : "NOT MET");
    for (const std::string& why : kept.refused) fmt::print("  refused: {}\n", why);
    for (const PromisedValue& value : kept.values) {
      fmt::print("  {:<20} held {:>3} of {}, U95 {:.2f} of the prediction\n", text_of(value.name),
                 value.held, value.surveys, value.reached());
    }
    std::fflush(stdout);
  }
  return all ? 0 : 1;
}

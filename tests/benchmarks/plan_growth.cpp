// Whether a plan ever gets worse when it may take longer: every step of minutes beside the best of all before it.
//
//   plan_growth FROM TO STEP [bare] [NAME ...]      all machines of plan_efficiency
//
// "bare": with bounds and axis motion stated 0. Ends with 1 where any plan was worse than one of less time.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "plan/efficiency_machines.h"

namespace pivotrace::testing {

namespace {

struct Growth {
  int plans = 0;
  int worse = 0;
  double most_worse = 0.0;  ///< share by which the worst value was larger than in less time
  double least_efficiency = std::numeric_limits<double>::infinity();
};

double worst_of(const PlanOutcome& outcome) {
  double worst = 0.0;
  for (const WantedValue& value : outcome.wanted) {
    worst = std::max(worst, value.reached / value.scale());
  }
  return worst;
}

Growth growth_of(const Machine& machine, double from, double to, double step) {
  Growth growth;
  double least = std::numeric_limits<double>::infinity();
  const int steps = static_cast<int>(std::floor((to - from) / step + 1e-6));
  for (int k = 0; k <= steps; ++k) {
    const auto outcome = find_plan(machine, request_for_minutes(from + k * step));
    if (!outcome || !outcome->certificate) continue;
    const double worst = worst_of(*outcome);
    ++growth.plans;
    growth.worse += worst > least * (1.0 + 1e-9) ? 1 : 0;
    growth.most_worse = std::max(growth.most_worse, worst / least - 1.0);
    growth.least_efficiency = std::min(growth.least_efficiency, outcome->certificate->efficiency());
    least = std::min(least, worst);
  }
  return growth;
}

bool wanted(const PlannedMachine& machine, const std::vector<std::string_view>& names) {
  return names.empty() || std::ranges::any_of(names, [&](std::string_view name) {
           return machine.name.find(name) != std::string::npos;
         });
}

int run(const std::vector<double>& minutes, bool bare, const std::vector<std::string_view>& names) {
  std::vector<PlannedMachine> machines = known_machines();
  for (PlannedMachine& machine : random_machines()) machines.push_back(std::move(machine));
  fmt::print("{:<28} {:>6} {:>6} {:>10} {:>11}\n", "machine", "plans", "worse", "by at most",
             "efficiency");
  bool never = true;
  for (const PlannedMachine& planned : machines) {
    if (!wanted(planned, names)) continue;
    const Growth growth = growth_of(bare ? without_bias(planned.machine) : planned.machine,
                                    minutes[0], minutes[1], minutes[2]);
    fmt::print("{:<28} {:>6} {:>6} {:>8.2f} % {:>11.3f}\n", planned.name, growth.plans,
               growth.worse, 100.0 * growth.most_worse, growth.least_efficiency);
    std::fflush(stdout);
    never = never && growth.worse == 0;
  }
  return never ? 0 : 1;
}

}  // namespace

}  // namespace pivotrace::testing

int main(int count, char** arguments) {
  std::vector<double> minutes;
  std::vector<std::string_view> names;
  bool bare = false;
  for (int k = 1; k < count; ++k) {
    const std::string_view argument = arguments[k];
    if (minutes.size() < 3) {
      minutes.push_back(std::atof(arguments[k]));
    } else if (argument == "bare") {
      bare = true;
    } else {
      names.push_back(argument);
    }
  }
  if (minutes.size() < 3 || !(minutes[2] > 0.0)) {
    fmt::print("usage: plan_growth FROM TO STEP [bare] [NAME ...], in minutes\n");
    return 2;
  }
  return pivotrace::testing::run(minutes, bare, names);
}

// How near plans come to what is proven to be possible, beside their bars.
//
//   plan_efficiency [MINUTES ...] [bare] [NAME ...]     default: 5 8, of all machines
//
// NAME is a part of the names of those wanted ("seed 1404"); "bare" leaves out what is printed only. Five
// machines (one of them where PIVOTRACE_PLAN_MACHINE names its file) and twelve random ones; with bounds and
// axis motion stated 0, against the bar, and as their files have them, which is printed only.
// Exit code 1 when a bar is not met.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>
#include <string_view>

#include "plan/efficiency_machines.h"

namespace {

using namespace pivotrace;
using namespace pivotrace::testing;

struct Measured {
  double efficiency = 0.0;
  double minutes = 0.0;
  double seconds = 0.0;
};

std::optional<Measured> measured(const Machine& machine, double minutes) {
  const std::clock_t begin = std::clock();
  const Expected<PlanOutcome> outcome = find_plan(machine, request_for_minutes(minutes));
  const double seconds = static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
  if (!outcome || !outcome->certificate) return std::nullopt;
  return Measured{outcome->certificate->efficiency(), outcome->plan.minutes, seconds};
}

struct Wanted {
  std::vector<double> minutes;
  std::vector<std::string> names;
  bool bare = false;

  bool has(const PlannedMachine& machine) const {
    return names.empty() || std::ranges::any_of(names, [&](const std::string& name) {
             return machine.name.find(name) != std::string::npos;
           });
  }
};

Wanted wanted_by(int count, char** arguments) {
  Wanted wanted;
  for (int k = 1; k < count; ++k) {
    char* rest = nullptr;
    const double minutes = std::strtod(arguments[k], &rest);
    if (*rest == '\0') {
      wanted.minutes.push_back(minutes);
    } else if (std::string_view(arguments[k]) == "bare") {
      wanted.bare = true;
    } else {
      wanted.names.emplace_back(arguments[k]);
    }
  }
  if (wanted.minutes.empty()) wanted.minutes = {5.0, 8.0};
  return wanted;
}

/// A machine that allows no plan, or only a longer one, has no bar.
bool line(const PlannedMachine& planned, double minutes, bool bare_only) {
  const PlanBars bars = bars_of(planned.machine);
  const double bar = minutes < 6.5 ? bars.at_5_minutes : bars.at_8_minutes;
  const auto bare = measured(without_bias(planned.machine), minutes);
  const auto stated = bare_only ? std::nullopt : measured(planned.machine, minutes);
  if (!bare || bare->minutes > minutes + 1e-9) {
    fmt::print("{:<28} {:>4g}  no plan of so few minutes\n", planned.name, minutes);
    return true;
  }
  const bool met = bare->efficiency >= bar;
  fmt::print("{:<28} {:>4g} {:>6.3f} {:>5.2f} {:<7} {:>6.3f} {:>6.1f} {:>6.1f} {:>4g}\n",
             planned.name, minutes, bare->efficiency, bar, met ? "met" : "NOT MET",
             stated ? stated->efficiency : 0.0, bare->seconds, stated ? stated->seconds : 0.0,
             bars.seconds);
  std::fflush(stdout);
  return met;
}

}  // namespace

int main(int count, char** arguments) {
  const Wanted wanted = wanted_by(count, arguments);
  std::vector<PlannedMachine> machines = known_machines();
  for (PlannedMachine& machine : random_machines()) machines.push_back(std::move(machine));
  fmt::print("{:<28} {:>4} {:>6} {:>5} {:<7} {:>6} {:>6} {:>6} {:>4}\n", "machine", "min", "bare",
             "bar", "", "as is", "s", "s", "bar");
  bool all = true;
  for (const PlannedMachine& machine : machines) {
    if (!wanted.has(machine)) continue;
    for (const double minutes : wanted.minutes) all = line(machine, minutes, wanted.bare) && all;
  }
  return all ? 0 : 1;
}

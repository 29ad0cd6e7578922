// Fit, write, measure again: the second correction is nothing but noise.
#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/pivots/patch.h"
#include "pivots/simulated_fit.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

Mapping post_mapping(const FitResult& result) {
  Mapping mapping;
  for (const AxisResult& axis : result.axes) {
    for (const NamedEstimate& location : axis.centre) {
      MappingEntry entry;
      entry.value = text_of(location.name);
      entry.key = entry.value.written;
      entry.format.decimals = 5;
      mapping.entries.push_back(entry);
    }
  }
  return mapping;
}

TargetFile post_with(const Mapping& mapping, const std::vector<double>& numbers) {
  TargetFile post;
  post.path = post.real_path = "post";
  for (std::size_t i = 0; i < numbers.size(); ++i) {
    post.bytes += *mapping.entries[i].key + " = " + std::to_string(numbers[i]) + "\r\n";
  }
  return post;
}

MachineState missed_truth(const Machine& machine) {
  MachineState truth = nominal_state(machine);
  for (Line& line : truth.axis_lines) {
    line.point_mm += Eigen::Vector3d(0.05, -0.04, 0.03);
    line.direction = (line.direction + Eigen::Vector3d(1e-4, 2e-4, -1e-4)).normalized();
  }
  return truth;
}

/// What is written after the first survey, and how far the second would move it.
struct Round {
  int corrections = 0;
  int within_U95 = 0;
  int nothing_to_gain = 0;
};

void measure_write_measure(const Machine& machine, std::uint64_t seed, Round& round) {
  const MachineState truth = missed_truth(machine);
  const FitResult first = simulated_fit(machine, truth, seed);
  const Mapping mapping = post_mapping(first);
  std::vector<double> nominal;
  for (const AxisResult& axis : first.axes) {
    for (const NamedEstimate& location : axis.centre) {
      nominal.push_back(axis.nominal.point_mm[component(location.name)]);
    }
  }
  const auto plan = plan_patch(first, mapping, post_with(mapping, nominal));
  REQUIRE(plan.has_value());
  REQUIRE(plan->objections.empty());

  TargetFile written = plan->target;
  written.bytes = plan->new_bytes;
  const FitResult second = simulated_fit(machine, truth, seed + 1000000);
  const auto again = plan_patch(second, mapping, written);
  REQUIRE(again.has_value());
  for (std::size_t i = 0; i < again->edits.size(); ++i) {
    ++round.corrections;
    // A difference of two surveys has the uncertainty of both.
    const double U95 = std::hypot(plan->edits[i].U95, again->edits[i].U95);
    if (std::abs(again->edits[i].change) <= U95) ++round.within_U95;
  }
  if (!again->objections.empty()) ++round.nothing_to_gain;
}

}  // namespace

TEST_CASE("fit, write, measure again: the second correction is within U95") {
  for (const Machine& machine :
       {fourth_axis_machine(), axis_along_y_machine(), round_table_machine(), trunnion_machine()}) {
    Round round;
    constexpr std::uint64_t repeats = 60;
    for (std::uint64_t seed = 1; seed <= repeats; ++seed) {
      measure_write_measure(machine, seed, round);
    }
    // At least 95 %, less three standard deviations of a binomial count. The absolute U95 also
    // covers what both surveys share, so more than 95 % is no fault.
    const double count = round.corrections;
    const double fraction = round.within_U95 / count;
    MESSAGE(machine.name << ": " << 100.0 * fraction << " % of " << count
                         << " second corrections within U95, " << round.nothing_to_gain << " of "
                         << repeats << " refused as nothing to gain");
    CHECK(fraction >= 0.95 - 3.0 * std::sqrt(0.95 * 0.05 / count));
  }
}

TEST_CASE("the program's own numbers, read back, put the origin where the axis truly is") {
  // Written with four decimals, from one survey: within U95 and half a last place of the truth.
  const Machine machine = fourth_axis_machine();
  const MachineState truth = missed_truth(machine);
  const FitResult result = simulated_fit(machine, truth, 77);
  for (const NamedEstimate& location : result.axes[0].centre) {
    const int k = component(location.name);
    const double true_mm =
        pierce_plane(truth.axis_lines[0], Eigen::Vector3d::UnitX(), result.axes[0].quoted_at_mm)[k];
    CHECK(std::abs(location.estimate.value - true_mm) <=
          location.estimate.U95_absolute / 1.96 * 3.29);
  }
}

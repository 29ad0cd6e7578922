#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/pivots/patch.h"
#include "pivots/amount_text.h"
#include "pivots/find_number.h"
#include "pivots/text_view.h"

namespace pivotrace {

namespace {

/// Round-off of unit changes there and back; far below any last place written.
constexpr double arithmetic_slack = 1e-9;

Expected<HomeReading> read_home(const std::vector<PivotValue>& values, const MappingEntry& entry,
                                const TextView& view, const TargetFile& target) {
  const Expected<PivotValue> value = find_pivot_value(values, entry.value);
  if (!value) return tl::make_unexpected(value.error());
  const Expected<NumberInFile> found = read_number(view, entry, target.path);
  if (!found) return tl::make_unexpected(found.error());
  HomeReading reading;
  reading.file = target.path;
  reading.line = found->where.line;
  reading.value = value->name;
  reading.text = found->text;
  reading.quantity = value->quantity;
  const double half_place = 0.5 * std::pow(10.0, -entry.format.decimals);
  const Expected<double> here = physical_value(values, entry, found->number);
  const Expected<double> beside = physical_value(values, entry, found->number + half_place);
  if (!here) return tl::make_unexpected(here.error());
  if (!beside) return tl::make_unexpected(beside.error());
  reading.physical = *here;
  reading.half_step = std::abs(*beside - *here);
  return reading;
}

bool agree(double left, double right, double half_steps) {
  return std::abs(left - right) <= half_steps + arithmetic_slack;
}

std::string place_of(const HomeReading& home) { return fmt::format("{}:{}", home.file, home.line); }

void compare_with_result(const PivotValue& value, const HomeReading& home, LengthUnit unit,
                         Problems& problems) {
  if (agree(home.physical, value.value, home.half_step)) return;
  problems.push_back(
      {ProblemNumber::values_disagree,
       fmt::format("{}: the result says {}, the file says {} (written there as {})",
                   text_of(value.name), amount_text(value.quantity, value.value, unit),
                   amount_text(value.quantity, home.physical, unit), home.text),
       {home.file, home.line, 0},
       "do not run parts: find out which is right, then write it to this file"});
}

void compare_homes(const PivotValue& value, const HomeReading& left, const HomeReading& right,
                   LengthUnit unit, Problems& problems) {
  if (agree(left.physical, right.physical, left.half_step + right.half_step)) return;
  problems.push_back(
      {ProblemNumber::values_disagree,
       fmt::format("{} has two homes that disagree: {} says {} (written as {}), {} says {} "
                   "(written as {})",
                   text_of(value.name), place_of(left),
                   amount_text(value.quantity, left.physical, unit), left.text, place_of(right),
                   amount_text(value.quantity, right.physical, unit), right.text),
       {left.file, left.line, 0},
       "do not run parts: one of the two is wrong, and whoever uses it cuts in the wrong place"});
}

std::vector<HomeReading> homes_of(const ValueName& value,
                                  const std::vector<std::vector<HomeReading>>& homes) {
  std::vector<HomeReading> found;
  for (const std::vector<HomeReading>& file : homes) {
    std::copy_if(file.begin(), file.end(), std::back_inserter(found),
                 [&](const HomeReading& home) { return home.value == value; });
  }
  return found;
}

}  // namespace

Expected<std::vector<HomeReading>> read_homes(const FitResult& result, const Mapping& mapping,
                                              const TargetFile& target, bool allow_other_machine) {
  const Expected<std::vector<PivotValue>> values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  Problems problems = mapping.validate();
  const bool other_machine =
      !mapping.machine.empty() && mapping.machine != result.machine_name && !allow_other_machine;
  if (other_machine) {
    problems.push_back(
        {ProblemNumber::other_machine,
         fmt::format("the result is for the machine \"{}\", but the mapping is for \"{}\"",
                     result.machine_name, mapping.machine),
         {mapping.file, 0, 0},
         "take the result of this machine; --allow-other-machine compares all the same"});
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const Expected<TextView> view = text_view(target.bytes, target.path);
  if (!view) return tl::make_unexpected(view.error());
  std::vector<HomeReading> readings;
  for (const MappingEntry& entry : mapping.entries) {
    const Expected<HomeReading> reading = read_home(*values, entry, *view, target);
    if (reading) {
      readings.push_back(*reading);
    } else {
      problems.insert(problems.end(), reading.error().begin(), reading.error().end());
    }
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return readings;
}

Expected<Verification> verify_homes(const FitResult& result,
                                    const std::vector<std::vector<HomeReading>>& homes) {
  const Expected<std::vector<PivotValue>> values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  Verification verification;
  verification.unit = unit_of(result);
  for (const PivotValue& value : *values) {
    const std::vector<HomeReading> found = homes_of(value.name, homes);
    for (std::size_t i = 0; i < found.size(); ++i) {
      const bool agrees = agree(found[i].physical, value.value, found[i].half_step);
      verification.rows.push_back({found[i], value.value, agrees});
      compare_with_result(value, found[i], verification.unit, verification.disagreements);
      for (std::size_t k = i + 1; k < found.size(); ++k) {
        compare_homes(value, found[i], found[k], verification.unit, verification.disagreements);
      }
    }
  }
  return verification;
}

}  // namespace pivotrace

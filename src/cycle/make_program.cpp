#include "pivotrace/cycle/make_program.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// The angle and the one it is reached from, as the program will say them.
bool turns_within_travel(const RotaryAxis& axis, double angle_rad,
                         const ProbingDistances& distances, const ControlSheet& sheet) {
  const double scale = std::pow(10.0, sheet.numbers.decimals_deg);
  const double written_deg = std::round(deg_from_rad(angle_rad) * scale) / scale;
  const double slack_rad = 1e-9;
  return axis.travel_rad.contains(rad_from_deg(written_deg), slack_rad) &&
         axis.travel_rad.contains(rad_from_deg(written_deg - distances.turn_run_up_deg), slack_rad);
}

/// Distances the control sheet cannot do: below its shortest skip move, or lost in its last decimal.
Problems misfits(const Machine& machine, const Plan& plan, const ControlSheet& sheet) {
  Problems problems;
  const ProbingDistances& d = plan.distances;
  const double slow_move = 2.0 * d.back_off;
  const double least = sheet.skip.min_distance_mm;
  if (slow_move < least || std::min(d.clearance, widest_approach_mm(d)) < least) {
    problems.push_back(
        {ProblemNumber::cannot_spell,
         fmt::format(
             "the control sheet `{}` makes no skip move shorter than {} mm, and the slow touch is "
             "{} mm long",
             sheet.name, least, slow_move),
         {sheet.file, 0, 0},
         fmt::format("plan with back_off of at least {} mm", 0.5 * least)});
  }
  for (const PlannedStation& station : plan.stations) {
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
      if (turns_within_travel(machine.rotary[i], station.angles_rad[i], d, sheet)) continue;
      problems.push_back(
          {ProblemNumber::cannot_spell,
           fmt::format("station {}: the angle of {}, written with {} decimals, or the angle it is "
                       "reached from, lies beyond the travel of the axis",
                       station.label, machine.rotary[i].letter, sheet.numbers.decimals_deg),
           {sheet.file, 0, 0},
           "move the station a little away from the end of travel"});
    }
  }
  const double resolution = 2.0 * rounding_bound_mm(sheet, machine.inch);
  if (resolution > 0.1 * std::min(d.back_off, d.limit)) {
    problems.push_back(
        {ProblemNumber::cannot_spell,
         fmt::format("the control sheet `{}` writes lengths in steps of {} mm, too coarse "
                     "for this plan",
                     sheet.name, resolution),
         {sheet.file, 0, 0},
         "raise `decimals_mm` (or `decimals_inch`) if the control reads more"});
  }
  return problems;
}

}  // namespace

Expected<EmittedProgram> make_program(const Machine& machine, const Plan& plan,
                                      const ControlSheet& sheet, CycleOptions options) {
  Problems problems = sheet.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  problems = check_plan(machine, plan);
  const Problems misfit = misfits(machine, plan, sheet);
  problems.insert(problems.end(), misfit.begin(), misfit.end());
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  options.watched = watches_positioning(sheet);
  for (const bool loops : {true, false}) {
    if (loops && !prefers_loops(sheet)) continue;
    options.loops = loops;
    const Expected<ControlProgram> cycle = make_cycle(machine, plan, options);
    if (!cycle) return tl::make_unexpected(cycle.error());
    Expected<EmittedProgram> program = emit(*cycle, sheet);
    // Tables may need more variables than the control has; written out, nothing needs a table.
    if (program || !loops) return program;
  }
  return failure({});
}

}  // namespace pivotrace

#include "cycle/prologue.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "base/cautions.h"
#include "cycle/touch_record.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

Problem cannot_spell(const std::string& what, const std::string& advice) {
  return {ProblemNumber::cannot_spell, what, {}, advice};
}

void object_to_solving(const CycleJob& job, Problems& problems) {
  const CycleOptions& options = job.options;
  if (options.set_offset && !options.solve_axis) {
    problems.push_back(
        cannot_spell("a work offset can only be set to a centre the control has worked out",
                     "add --solve-on-control"));
  }
  if (!options.solve_axis) return;
  const RotaryAxis& axis = job.machine.rotary[*options.solve_axis];
  if (axis.side != AxisSide::work || !axis.along) {
    problems.push_back(cannot_spell(
        fmt::format("the control cannot work out the centre of {} itself: only of an axis that "
                    "carries the work and lies along X, Y or Z",
                    axis.letter),
        "take the centre from `pivotrace fit`"));
  } else if (!job.solved_segment()) {
    problems.push_back(cannot_spell(
        fmt::format("this plan does not turn {} far enough for a centre on the control",
                    axis.letter),
        "plan more stations of this axis, spread wider"));
  }
}

std::string listed(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

std::string task_of(const CycleJob& job, const Segment& segment) {
  const CycleStay& first = segment.stays.front();
  if (segment.stays.size() == 1) return fmt::format("touches at station {}", first.number);
  const std::string stations =
      fmt::format("stations {} to {}", first.number, segment.stays.back().number);
  return segment.axes.empty() ? "touches at " + stations
                              : fmt::format("turns {} and touches at {}",
                                            axes_text(job.machine, segment.axes), stations);
}

/// What the program will do, in lines a machinist can follow.
std::vector<std::string> summary_of(const CycleJob& job) {
  std::vector<std::string> lines = {"WHAT IT DOES"};
  if (job.plan.self_find) {
    lines.emplace_back(
        "stops for the probe test, then touches the first artefact once from where you "
        "jogged to, and compares it with the file");
  }
  for (const Segment& segment : job.layout.segments) lines.push_back(task_of(job, segment));
  lines.emplace_back("each touch: fast to find, back off, slow to measure, back the way it came");
  if (job.options.watched) {
    lines.emplace_back(
        "finds a place first, in fast passes, where it is not known well enough yet; a known one "
        "it goes round beside the surface");
  }
  lines.emplace_back("goes back along Z to the safe height before every turn and at the end");
  lines.push_back(job.options.set_offset
                      ? fmt::format("writes work offset {} after a stop that shows old and new",
                                    *job.options.set_offset)
                      : "keeps the measured points; writes no measured value to an offset");
  lines.push_back("each line of the record: " + listed(record_columns(job.machine)) +
                  "; X Y Z as the control shows them at the trigger, angles in deg");
  return lines;
}

constexpr std::array<const char*, 4> cautions = {
    "CAUTION: rehearse this program, then run it the first time in single block with the "
    "rapid override low and a hand at the stop.",
    "CAUTION: probe in the spindle, switched on and tested by hand, spindle locked, no tool "
    "length, rotation, scaling or mirror active.",
    "CAUTION: rotary axes turn by themselves. Nobody inside the guards, nothing in the way of "
    "cables, clamps and artefacts all round.",
    rules_come_first};

std::vector<std::string> header_of(const CycleJob& job) {
  const Plan& plan = job.plan;
  std::vector<std::string> lines;
  lines.push_back(fmt::format("plan {}, number {}: {} stations, {} touches, about {:.0f} minutes",
                              identity_of(plan), identity_number_of(plan), plan.stations.size(),
                              plan.touch_count(),
                              std::ceil(minutes_of(job.machine, plan, job.options.watched))));
  lines.emplace_back(job.machine.inch ? "units: inch and degrees, machine coordinates"
                                      : "units: mm and degrees, machine coordinates");
  lines.emplace_back(job.machine.probe.length_datum == LengthDatum::tip
                         ? "machine Z refers to the stylus tip"
                         : "machine Z refers to the centre of the stylus ball");
  const std::vector<std::string> summary = summary_of(job);
  lines.insert(lines.end(), summary.begin(), summary.end());
  lines.insert(lines.end(), cautions.begin(), cautions.end());
  if (job.options.solve_axis) lines.push_back(caution(on_control_centre_caution));
  return lines;
}

}  // namespace

Problems objections_to(const CycleJob& job) {
  Problems problems;
  object_to_solving(job, problems);
  if (!job.plan.self_find) return problems;
  if (const auto objection = objection_to_self_find(job.machine, job.state, job.plan)) {
    problems.push_back(
        cannot_spell("the first artefact cannot be found from a jogged position: " + *objection,
                     "set `self_find = false`, or let another station be the first"));
  }
  return problems;
}

ControlProgram headed_program(const CycleJob& job) {
  ControlProgram program;
  program.title = "probing cycle for " + job.plan.machine_name;
  program.identity = identity_of(job.plan);
  program.identity_number = identity_number_of(job.plan);
  program.program_number = job.options.program_number;
  program.inch = job.machine.inch;
  program.clamps =
      std::any_of(job.machine.rotary.begin(), job.machine.rotary.end(),
                  [](const auto& axis) { return !axis.clamp.empty() || !axis.unclamp.empty(); });
  program.record_lines = job.plan.touch_count();
  program.header = header_of(job);
  return program;
}

}  // namespace pivotrace

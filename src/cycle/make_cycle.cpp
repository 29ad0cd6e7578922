#include "pivotrace/cycle/make_cycle.h"

#include "cycle/centre_on_control.h"
#include "cycle/prologue.h"
#include "cycle/self_find.h"
#include "cycle/station_walk.h"

namespace pivotrace {

namespace {

/// Everything after the tables: from the jogged position through all parts to the end.
void write_run(StepRecorder& steps, const CycleJob& job, const CycleVariables& variables,
               const AxisCentres& centres, const std::vector<Part>& parts) {
  const CycleMoves moves(variables, steps);
  steps.add(SpindleStep{});
  steps.add(SpindleStep{0.0});
  if (job.plan.self_find) write_self_find(steps, job, variables, centres);
  steps.add(LogFileStep{true, record_columns(job.machine)});
  StationWalk walk(job, variables, centres, steps);
  const std::optional<std::size_t> solved = job.solved_segment();
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::optional<FoundCentre> found = walk.walk(parts[i], solved == i);
    if (found) write_centre_on_control(steps, job, moves, parts[i], *found);
  }
  steps.heading("END");
  moves.up_to_safe_height();
  steps.add(LogFileStep{false, {}});
}

ControlProgram written(const CycleJob& job) {
  ControlProgram program = headed_program(job);
  StepRecorder steps(program);
  OperatorParameters parameters = write_parameters(steps, job);
  const AxisCentres centres(job.machine, job.state, steps);
  steps.heading("WORKED OUT FROM THE PARAMETERS");
  std::vector<ArtefactDistances> distances = write_distances(steps, job, parameters);
  const CycleVariables variables{std::move(parameters), std::move(distances),
                                 TouchVariables(steps)};
  program.retreats = retreats_of(variables.parameters, variables.touch);
  const std::vector<Part> parts = write_tables(steps, job);
  write_run(steps, job, variables, centres, parts);
  return program;
}

}  // namespace

Expected<ControlProgram> make_cycle(const Machine& machine, const Plan& plan,
                                    const CycleOptions& options) {
  if (plan.stations.empty() || plan.touch_count() == 0) {
    return failure({ProblemNumber::cannot_plan,
                    "this plan has no touches",
                    {},
                    "plan it again with `pivotrace plan`"});
  }
  const CycleJob job(machine, plan, options);
  Problems problems = objections_to(job);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return written(job);
}

}  // namespace pivotrace

// Plan, cycle and rehearse in one go, for the tests that close the loop.
#pragma once

#include <string>

#include "pivotrace/cycle/make_program.h"
#include "pivotrace/files/dialect_file.h"
#include "pivotrace/files/machine_file.h"
#include "pivotrace/files/parameter_file.h"
#include "pivotrace/files/touch_file.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace::test {

struct DemoLoop {
  Machine machine;
  Dialect dialect;
  Plan plan;
  EmittedProgram program;
};

inline std::string in_source(const std::string& file) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/" + file;
}

inline Expected<DemoLoop> demo_loop(const Machine& machine, const Dialect& dialect,
                                    const PlanRequest& request, const CycleOptions& how = {}) {
  Expected<PlanOutcome> outcome = make_plan(machine, request);
  if (!outcome) return tl::make_unexpected(outcome.error());
  Expected<EmittedProgram> program = make_program(machine, outcome->plan, dialect, how);
  if (!program) return tl::make_unexpected(program.error());
  return DemoLoop{machine, dialect, outcome->plan, *program};
}

inline RehearsalOptions options_for(const DemoLoop& loop) {
  RehearsalOptions options;
  options.start_mm = start_position_mm(loop.machine, loop.plan);
  if (!loop.plan.stations.empty()) {
    options.start_angles_rad = loop.plan.stations.front().angles_rad;
  }
  options.control = usual_start(loop.machine, loop.dialect);
  return options;
}

/// The survey a rehearsal left: its log, or its parameter file.
inline Expected<Survey> survey_of(const DemoLoop& loop, const RehearsalReport& report) {
  if (!loop.program.results) return parse_survey(report.log, "rehearsed.log", loop.machine);
  return parse_parameters(report.parameter_file, "rehearsed.var")
      .and_then([&](const std::map<int, double>& parameters) {
        return survey_from_parameters(parameters, "rehearsed.var", loop.machine, loop.plan,
                                      *loop.program.results);
      });
}

inline std::string all_of(const Problems& problems) {
  std::string text;
  for (const Problem& problem : problems) text += describe(problem) + "\n";
  return text;
}

}  // namespace pivotrace::test

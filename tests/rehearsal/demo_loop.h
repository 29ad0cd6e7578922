// Plan, cycle and rehearse in one go, for the tests that close the loop.
#pragma once

#include <string>

#include "pivotrace/cycle/make_program.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace::test {

struct DemoLoop {
  Machine machine;
  ControlSheet sheet;
  Plan plan;
  EmittedProgram program;
};

inline std::string in_source(const std::string& file) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/" + file;
}

inline Expected<DemoLoop> demo_loop(const Machine& machine, const ControlSheet& sheet,
                                    const PlanRequest& request, const CycleOptions& how = {}) {
  Expected<PlanOutcome> outcome = make_plan(machine, request);
  if (!outcome) return tl::make_unexpected(outcome.error());
  Expected<EmittedProgram> program = make_program(machine, outcome->plan, sheet, how);
  if (!program) return tl::make_unexpected(program.error());
  return DemoLoop{machine, sheet, outcome->plan, *program};
}

/// The same with the default request, from files named as in the source folder.
inline Expected<DemoLoop> read_demo_loop(const std::string& machine_file,
                                         const std::string& control_file, bool self_find) {
  const Expected<Machine> machine = read_machine(in_source(machine_file));
  if (!machine) return tl::make_unexpected(machine.error());
  const Expected<ControlSheet> sheet = read_control_sheet(in_source(control_file));
  if (!sheet) return tl::make_unexpected(sheet.error());
  PlanRequest request;
  request.self_find = self_find;
  return demo_loop(*machine, *sheet, request);
}

/// Axis lines and artefacts elsewhere, within what a plan must cope with, and nothing else: without
/// noise the truth comes back to the digits of the log.
inline RehearsalTruth moved_truth(const Machine& machine) {
  RehearsalTruth truth = nominal_truth(machine);
  for (Line& line : truth.survey.state.axis_lines) {
    line.point_mm += Eigen::Vector3d(0.08, -0.05, 0.06);
    line.direction = (line.direction + Eigen::Vector3d(3e-4, -2e-4, 4e-4)).normalized();
  }
  for (ArtefactPlace& place : truth.survey.state.artefacts) {
    place.point_mm += Eigen::Vector3d(-0.2, 0.3, 0.1);
  }
  return truth;
}

inline RehearsalOptions options_for(const DemoLoop& loop) {
  RehearsalOptions options;
  options.start_mm = start_position_mm(loop.machine, loop.plan);
  if (!loop.plan.stations.empty()) {
    options.start_angles_rad = loop.plan.stations.front().angles_rad;
  }
  options.control = usual_start(loop.machine, loop.sheet);
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

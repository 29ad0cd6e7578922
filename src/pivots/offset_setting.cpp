#include "pivots/offset_setting.h"

namespace pivotrace {

std::string measured_line(const FitResult& result) {
  return "measured: " + (result.started.empty() ? "time not stated" : result.started) +
         ", fitted: " + result.made;
}

ControlProgram offset_setting(const std::string& title, const FitResult& result, LengthUnit unit,
                              std::vector<std::string> header, const std::string& sets) {
  ControlProgram program;
  program.title = title;
  program.kind = ProgramKind::offsets;
  program.inch = unit == LengthUnit::inch;
  program.simulated = result.simulated;
  program.header = std::move(header);
  if (program.inch) program.header.emplace_back("This program is in inches.");
  program.steps.push_back(
      Step{OperatorStopStep{told({"read the remarks first. Start sets " + sets})}});
  return program;
}

}  // namespace pivotrace

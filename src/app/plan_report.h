// The page of a plan and of the rehearsal of its program: a part of the verb report.
#pragma once

#include <string>

#include "app/console.h"

namespace pivotrace::app {

struct PlanReport {
  std::string plan_file;
  std::string machine_file;  ///< empty: the one the plan names
  std::string program_file;  ///< what is rehearsed; empty: nothing
  std::string control;       ///< the sheet it is written with
  std::string truth_file;    ///< how the machine really is; empty: as its file says
  std::string units;         ///< empty: those of the machine file
  std::string output;        ///< empty: the screen
};

/// Good, or not good where the program did not pass.
ExitCode report_plan(const PlanReport& arguments, const Console& console);

}  // namespace pivotrace::app

// One line of the record per measured touch, and the columns it has.
#pragma once

#include <string>
#include <vector>

#include "cycle/cycle_geometry.h"
#include "cycle/cycle_parameters.h"
#include "cycle/cycle_tables.h"

namespace pivotrace {

std::vector<std::string> record_columns(const Machine& machine);

class TouchRecord {
 public:
  TouchRecord(const CycleJob& job, const TouchVariables& variables, StepRecorder& steps)
      : job_(job), variables_(variables), steps_(steps) {}

  /// Counts one more touch and writes where it triggered.
  void write(const Part& part, const LoopIndex& stay, const CycleTarget& target,
             const StandingAxes& axes);

 private:
  Value next_number();

  const CycleJob& job_;
  const TouchVariables& variables_;
  StepRecorder& steps_;
  int written_ = 0;  ///< in a program written out touch by touch
};

}  // namespace pivotrace

// The touch records shipped in examples/: invented machines, stated truths, stated noise.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace::examples {

/// One shipped record and the truth it was made from.
struct ExampleSurvey {
  std::string file;          ///< name inside examples/
  std::string machine_file;  ///< name inside examples/
  std::string story;         ///< one line for the head of the record
  std::string finding;       ///< finding it must provoke, "P201" when refused, empty when none
  SurveyTruth truth;
  Survey survey;
  std::vector<std::string> conditions = {};  ///< "probe: ...", lines for the head of the record
};

/// The plain demos: everything as it should be.
Expected<std::vector<ExampleSurvey>> demo_surveys(const std::string& examples_folder);

/// Ten surveys of the 4th axis, each spoiled in one way that happens in shops.
Expected<std::vector<ExampleSurvey>> spoiled_surveys(const std::string& examples_folder);

/// A year of monthly checks of the 4th axis: probe calibrated anew in October, ball put back every time, the
/// unit shifted between June and July, and the centre sinking all the time.
Expected<std::vector<ExampleSurvey>> year_surveys(const std::string& examples_folder);

/// The text of one record as it is shipped: story, truth and seed as remarks, then the touches.
std::string record_text(const ExampleSurvey& example, const Machine& machine);

}  // namespace pivotrace::examples

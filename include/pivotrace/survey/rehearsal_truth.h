// How the rehearsed machine really is.
#pragma once

#include <vector>

#include "pivotrace/survey/synthetic.h"

namespace pivotrace {

/// A fixed error of a rotary axis at one commanded angle.
struct IndexError {
  int axis = 0;  ///< index into Machine::rotary
  double at_rad = 0.0;
  double error_rad = 0.0;  ///< added to the commanded angle
};

/// Everything of SurveyTruth, and what only a moving machine has.
struct RehearsalTruth {
  SurveyTruth survey;
  std::vector<IndexError> index_errors;
  /// Time between the trigger and the latching of the position. The trip point read lies this
  /// time times the feed beyond the trigger.
  double trigger_delay_s = 0.0;
};

/// The truth of a machine that is exactly as its file says.
RehearsalTruth nominal_truth(const Machine& machine);

}  // namespace pivotrace

// What is wrong, or might be, with a survey that could be fitted.
#pragma once

#include "estimate/screening.h"
#include "estimate/turn_sense.h"
#include "estimate/uncertainty.h"

namespace pivotrace {

struct FindingInputs {
  const Model& model;    ///< of what screening left in
  const Survey& survey;  ///< whole
  const Adjusted& adjusted;
  const RandomModel& stated;  ///< sigmas as the machine file states them
  const ChosenVariances& chosen;
  const SenseVerdict& sense;
  const Screening& screening;
  bool scatter_too_large;
  double times_stated;  ///< scatter under the stated sigmas
  const FitResult& result;
};

/// In the order in which they should be dealt with.
std::vector<Finding> findings_of(const FindingInputs& in);

}  // namespace pivotrace

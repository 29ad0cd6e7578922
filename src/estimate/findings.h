// Diagnoses in plain words, each with what to do.
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
  const FitResult& result;
};

std::vector<Finding> find(const FindingInputs& in);

}  // namespace pivotrace

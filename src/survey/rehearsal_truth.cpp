#include "pivotrace/survey/rehearsal_truth.h"

namespace pivotrace {

RehearsalTruth nominal_truth(const Machine& machine) {
  RehearsalTruth truth;
  truth.survey.state = nominal_state(machine);
  return truth;
}

}  // namespace pivotrace

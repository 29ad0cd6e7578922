#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

const char* describe(FitStatus status) {
  switch (status) {
    case FitStatus::not_started: return "not run";
    case FitStatus::done: return "done";
    case FitStatus::too_few_points: return "too few points";
    case FitStatus::not_finite: return "a coordinate is not a finite number";
    case FitStatus::degenerate: return "the points do not determine the shape";
    case FitStatus::did_not_converge: return "no solution found";
  }
  return "not run";
}

}  // namespace pivotrace

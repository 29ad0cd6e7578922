// Fit the axis lines of a machine to a survey: the one call behind `pivotrace fit`.
#pragma once

#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/results/result.h"
#include "pivotrace/solver/minimise.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// Systematic effects that can be solved for on request, when the touches can carry it.
enum class OptionalUnknown {
  drift,          ///< X, Y, Z creep linear in time: needs times and a repeated station
  stylus_offset,  ///< X, Y of the stylus off the spindle axis: needs the spindle flipped between passes
  lobing,         ///< three-lobed trigger: needs touches at more than three bearings
  reversal,       ///< angle reached from below and from above: needs both
  squareness,  ///< of the linear axes in the plane of each orbit: needs most of a circle
  scale,       ///< one scale against the other in the plane of each orbit: needs most of a circle
};
/// "drift", "stylus-offset", ... as typed on the command line.
const char* optional_unknown_word(OptionalUnknown unknown);

struct FitOptions {
  /// Solved for together with the axes; never switched on silently.
  std::vector<OptionalUnknown> unknowns;
  /// Look for bad touches and slipped stations and leave out what is beyond doubt.
  bool screen = true;
  /// Outputs whose U95 exceeds these are refused, not printed.
  double location_limit_mm = 0.5;
  double orientation_limit_rad = 0.0087266462599716477;  // 0.5 deg
  int max_iterations = 50;
  Solver solver = default_solver();  ///< the caller hands it in; must be in this build

  /// Every problem with these options; empty when they can be used.
  Problems validate() const;
};

/// Joint least-squares adjustment of all touches and all turned axes of one survey.
/// Minimises sum over stations of v' C^-1 v with v the signed gaps [mm] and C their covariance:
/// touch noise, a 3-vector shared by each station, errors of the index angles.
/// Fails with P2xx when the touches do not determine the unknowns (named, with what to add) and
/// with P3xx when no solution is found. A result may be returned with usable == false: it is then
/// complete and printable, but must not be written anywhere.
Expected<FitResult> fit_survey(const Machine& machine, const Survey& survey,
                               const FitOptions& options = {});

}  // namespace pivotrace

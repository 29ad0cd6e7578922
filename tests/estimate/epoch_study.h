// Pairs of surveys of one machine with a stated truth, and what compare says of them.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "jobs.h"
#include "pivotrace/results/compare.h"

namespace pivotrace::testing {

/// What lies between the two surveys of a pair beside what each draws for itself. Index errors and motions
/// are the machine's and come back.
struct BetweenSurveys {
  bool remounted = false;  ///< artefacts put back up to 5 mm elsewhere
  bool own_probe = true;   ///< each survey with a probe of its own, and says so; else one for both
  bool sigmas_drawn = false;  ///< true sigmas about the file's, 8 degrees of freedom
  /// Lobing, drift, slides and index waves drawn within the bounds of a usual machine, all axes shifted
  /// within `between_surveys_mm`; else none of it, and the file says so.
  bool disturbed = false;
  double between_surveys_mm = 0.0;
  /// What the second survey does otherwise (another ball, another plan); empty = nothing.
  std::function<void(Job&)> later = nullptr;
};

/// For BetweenSurveys::later: a ball of another size in another place; stations half-way between the angles
/// of the first survey, the last one left out.
void another_ball(Job& job);
void another_plan(Job& job);

struct PairCounts {
  std::string job;
  int pairs = 0;    ///< both surveys fitted and usable
  int refused = 0;  ///< a survey or the comparison was
  int moved = 0;    ///< the survey-wide test opened
  int value_seen =
      0;          ///< the value that was changed was called moved (or proven within its tolerance)
  int right = 0;  ///< the first line of the explanations names the true cause
  int surely_wrong = 0;  ///< it does not, and claims more than 95 %
};

/// Nothing moved.
PairCounts still_pairs(const Job& job, const BetweenSurveys& between, int pairs, std::uint64_t seed,
                       int threads);

/// One value, each in turn, changed by `times` its smallest visible change.
PairCounts changed_pairs(const Job& job, const BetweenSurveys& between, double times, int pairs,
                         std::uint64_t seed, int threads);

/// The same by the smallest change that was foretold for the second survey before it was made.
PairCounts foretold_pairs(const Job& job, const BetweenSurveys& between, int pairs,
                          std::uint64_t seed, int threads);

/// One value, each in turn, changed by exactly the tolerance asked for, `tolerance_in_U95` times the U95
/// of its change: `value_seen` counts how often it is said to be within it.
PairCounts at_tolerance(const Job& job, const BetweenSurveys& between, double tolerance_in_U95,
                        int pairs, std::uint64_t seed, int threads);

/// One kind of movement: `move` changes the truth by `amount` in its own unit.
struct Movement {
  const char* name;
  std::function<void(SurveyTruth&, double amount)> move;
  Cause cause;
  char axis = '\0';
};
/// Of every kind that changes values of this job.
std::vector<Movement> movements(const Job& job);

/// Moved by `times` the amount at which the value it changes most, against the smallest change that would
/// show, is at that smallest change.
PairCounts moved_pairs(const Job& job, const Movement& movement, double times, int pairs,
                       std::uint64_t seed, int threads);

}  // namespace pivotrace::testing

// Monte Carlo of one's own survey: the stated uncertainty, found a second way (JCGM 101).
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "pivotrace/estimate/fit.h"

namespace pivotrace {

struct TrialOptions {
  int trials = 10000;
  std::uint64_t seed = 1;  ///< the same seed gives the same numbers whatever the number of threads
  int threads = 0;         ///< 0 = one per processor
  /// Trials worked on side by side, one of `lanes_available`; 0 = the most this processor can. The
  /// numbers do not depend on it.
  int lanes = 0;
  /// Called now and then from one thread with the number of trials done; may be empty.
  std::function<void(int)> progress;
  /// Called for every output with what all trials made of it, mm or rad; may be empty.
  std::function<void(const ValueName&, const Eigen::VectorXd&)> each_output;

  Problems validate() const;
};

/// How many trials this processor can work on side by side, fewest first. Never empty.
std::vector<int> lanes_available();

/// Fits the survey, then repeats it `trials` times on paper: every touch is set on the fitted
/// surface, fresh errors are drawn for touches, stations, index angles, diameters and common-mode
/// terms, and all unknowns are adjusted again without linearising. The adjustment iterates with the
/// gain (J'C^-1 J + P)^-1 J'C^-1 of the fit until a step is below 1e-9 mm; against a full
/// adjustment the answer differs by less than `trial_refit_bound_mm`, because the gain changes by
/// less than 1e-3 over such errors.
Expected<TrialsResult> run_trials(const Machine& machine, const Survey& survey,
                                  const FitOptions& fit_options, const TrialOptions& options);

/// Largest difference of a refit in a trial from a full adjustment of the same touches [mm], for
/// random errors of a few micrometres. Held by the tests.
inline constexpr double trial_refit_bound_mm = 1e-5;

}  // namespace pivotrace

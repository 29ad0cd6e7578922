// How often U95 holds the truth, and how often bad touches are found: counted over many surveys.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "jobs.h"
#include "pivotrace/results/value_name.h"
#include "pivotrace/survey/disturbances.h"

namespace pivotrace::testing {

struct CoverageRow {
  ValueName output;
  int surveys = 0;
  int held = 0;             ///< |value - truth| <= U95
  double mean_error = 0.0;  ///< mm or rad
  double spread = 0.0;      ///< standard deviation of the error
  double bound = 0.0;       ///< Cramer-Rao bound: u predicted at the truth
  double mean_U95 = 0.0;
  double share() const { return static_cast<double>(held) / surveys; }
  double efficiency() const { return spread / bound; }
  double bias_in_u() const { return mean_error / bound; }
};

struct CoverageResult {
  std::string job;
  int surveys = 0;
  int refused = 0;                    ///< surveys the fit refused
  int alarmed = 0;                    ///< surveys with a warning or an error
  std::map<std::string, int> alarms;  ///< code -> surveys it was raised in
  std::vector<CoverageRow> rows;
};

/// How the machine of one survey differs from its file.
struct CoverageOptions {
  bool draw_sigmas = false;  ///< true sigmas about the file's, with its degrees of freedom
  bool draw_common = true;   ///< stylus offset and diameters; else judged by U95 repeatable
  bool screening = true;
  /// What disturbs this survey; empty = nothing.
  std::function<void(SurveyTruth&, int survey)> disturb;
  std::function<void(Machine&)> file;  ///< what the file says differently from the truth
};

/// Each survey draws fresh random errors, diameters and stylus offset from what the machine file
/// states. Survey k of a seed is the same whatever the number of threads.
CoverageResult coverage(const Job& job, int surveys, std::uint64_t seed, int threads,
                        const CoverageOptions& options = {});

/// A disturbance at its bound in the worst phase or with the worst signs for one output: the output
/// that it shifts most for its U95. Found with undisturbed, noise-free surveys of the simulator.
struct WorstCase {
  ValueName output;
  double shift_in_U95 = 0.0;
  double shift = 0.0;  ///< mm or rad
  /// B that the fit of the survey so disturbed counts for it, with everything else bounded.
  double counted = 0.0;
  Eigen::VectorXd components;
};
WorstCase worst_case(const Job& job, const Bound& bound);

/// Where the survey of a job runs and how long it takes.
SurveyFrame frame_of_job(const Job& job);

struct BlunderResult {
  std::string story;
  int surveys = 0;
  int bad_touches = 0;  ///< put in
  int found = 0;        ///< of those, left out or named as possibly bad
  int good_touches = 0;
  int good_lost = 0;
  int centre_held = 0;  ///< centre within 1.5 u of the fit of the clean survey
  double share_found() const {
    return bad_touches == 0 ? 0.0 : static_cast<double>(found) / bad_touches;
  }
  double share_lost() const { return static_cast<double>(good_lost) / good_touches; }
  double share_held() const { return static_cast<double>(centre_held) / surveys; }
};

/// `touches` single gross errors of 20 um to 5 mm along the approach, or with `slip` a whole station
/// turned too far by as much at the ball, or with `in_air` triggers 1 to 5 mm early.
BlunderResult blunders(const Job& job, int touches, bool slip, bool in_air, int surveys,
                       std::uint64_t seed, int threads);

/// Runs work(k) for k = 0..count-1 on several threads; the order is not defined.
void in_parallel(int count, int threads, const std::function<void(int)>& work);

}  // namespace pivotrace::testing

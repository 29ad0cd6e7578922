// Passes over the touches: station by station into the triangles, then one step of the unknowns.
#pragma once

#include "embedded/station.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Checks what a job needs, lays out the work memory and forgets what was in it. With `keep` unknowns
/// found by an update of the same survey stay.
int32_t prepare(const pivotrace_survey* survey, void* memory, size_t size, bool keep);

/// OK while the survey is as it was when the job began and the memory is that of the job.
int32_t same_survey(const pivotrace_survey* survey, const Work* work);

/// Starts a pass: empty triangles but for what is known beforehand. `held`: all unknowns are held near
/// their nominal values, as closely as a set-up has to be.
void begin_pass(Work& work, bool held);

/// One station into the triangles.
void pass_station(Work& work, Gap gap);

/// What a pass came to.
struct Step {
  bool far;      ///< it moved by more than a start may be off
  bool bent;     ///< by so much that the next pass will move it again by more than can be shown
  bool settled;  ///< by less than a tenth of its sigma, or the next would
  bool finite;
};

/// Solves, moves the unknowns.
Step end_pass(Work& work, Gap gap);

/// Bits of `undetermined` for the unknowns that hang on others in the triangle.
int32_t hanging(Work& work);

/// The bit of `undetermined` for one unknown.
int32_t open_bit(const Work& work, int unknown);

/// Redundancies, by what was counted in the last pass.
int32_t touch_redundancy(const Work& work);
int32_t station_redundancy(const Work& work);

/// Touch variance pooled with what the set-up states, as a factor of the stated one.
real pooled_touch_factor(const Work& work);

/// True when all unknowns are within the neighbourhood the nominal values promise.
bool near_nominal(const Work& work);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

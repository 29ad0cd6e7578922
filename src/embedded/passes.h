// Passes over the touches: station by station into the triangles, then one step of the unknowns.
#pragma once

#include "embedded/station.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Checks what a job needs, lays out the work memory, forgets what was in it and begins the first pass:
/// BUSY, or why not. With `keep` unknowns found by an update of the same survey stay.
int32_t prepare(const pivotrace_survey* survey, void* memory, size_t size, bool keep);

/// The first pass from where the unknowns are.
void begin_start(Work& work);

/// OK while the survey is as it was when the job began and the memory is that of the job.
int32_t same_survey(const pivotrace_survey* survey, const Work* work);

/// Starts a pass, by the phase with algebraic or exact gaps: empty triangles but for what is known
/// beforehand. `held`: all unknowns are held near their nominal values, as closely as a set-up has to be.
void begin_pass(Work& work, bool held);

/// The next station into the triangles.
void pass_station(Work& work);

/// A start is near enough when the last step was below this part of how far unknowns may be off: what is
/// left is its square, and an exact pass comes nearer from there as well. Two exact passes are needed in
/// double anyway.
constexpr real near_enough = sizeof(real) == sizeof(float) ? real(0.25) : real(0.7);

/// A state to be shown was near enough when the last step was below this part: the next pass would move
/// it by no more than can be shown.
constexpr real near_enough_to_show = real(0.005);

/// What a pass came to.
struct Step {
  bool settled;  ///< root mean square no more than a tenth of the sigmas, of it or of the next
  bool finite;
  real longest;  ///< the largest share of how far an unknown may be off
};

/// Solves, moves the unknowns.
Step end_pass(Work& work);

/// Bits of `undetermined` for the unknowns that hang on others in the triangle.
int32_t hanging(Work& work);

/// The bit of `undetermined` for one unknown.
int32_t open_bit(const Work& work, int unknown);

/// Redundancies, by what was counted in the last pass.
int32_t touch_redundancy(const Work& work);
int32_t station_redundancy(const Work& work);

/// A variance pooled with what the set-up states, as a factor of the stated one: `squares` with
/// `redundancy` were found.
real pooled_factor(const Work& work, real squares, int32_t redundancy);

/// Puts touches into use with their variance pooled.
void pool_touches(Work& work);

/// True when all unknowns are within the neighbourhood the nominal values promise.
bool near_nominal(const Work& work);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

// Does an axis turn the other way? Every combination of senses is solved and their scatter compared.
#include "embedded/passes.h"

using namespace pivotrace::PIVOTRACE_EMBEDDED;

namespace pivotrace::PIVOTRACE_EMBEDDED {
namespace {

/// The wrong sense never comes near, however long it is given; the right one settles in fewer.
constexpr int starts = 2;
constexpr int passes = 6;

/// exp(-50 / 2) is a likelihood ratio of one in 10^11.
constexpr real decisive = real(50);
/// The stated sense is given up only when another leaves this many times less.
constexpr real decisive_ratio = real(10);

int combinations(const Work& work) { return 1 << work.survey->setup->axes; }

void begin_attempt(Work& work) {
  __builtin_memset(work.unknowns, 0, sizeof(work.unknowns));
  begin_start(work);
}

/// chi-squared of each combination; kept where common terms stand in other jobs.
real& scatter_of(Work& work, int combination) { return work.felt[combination]; }

int32_t verdict(Work& work, int32_t& other_way) {
  const real stated = scatter_of(work, 0);
  const int32_t redundancy = touch_redundancy(work) + station_redundancy(work);
  const real unit = redundancy > 0 ? larger(real(1), stated / real(redundancy)) : real(1);
  int best = 0;
  int32_t open = 0;
  for (int c = 1; c < combinations(work); ++c) {
    if (scatter_of(work, c) < scatter_of(work, best)) best = c;
    if (!(scatter_of(work, c) > stated + decisive * unit)) open |= c;
  }
  const real least = scatter_of(work, best);
  if (best != 0 && least * decisive_ratio < stated && least + decisive < stated) {
    other_way = best;
    return PIVOTRACE_OTHER_WAY;
  }
  other_way = open;
  return open != 0 ? PIVOTRACE_EITHER_WAY : PIVOTRACE_OK;
}

int32_t close_attempt(Work& work, int32_t& other_way) {
  const bool start = work.phase == Phase::start;
  const Step step = end_pass(work);
  // What no number stands for fits worse than anything.
  const real lost = real(1e30);
  const real total = work.within + work.between;
  scatter_of(work, work.flipped) = step.finite && is_number(total) ? total : lost;
  const bool over = !step.finite || work.pass >= passes || (!start && step.settled);
  if (!over) {
    if (work.pass >= starts) work.phase = Phase::exact;
    begin_pass(work, true);
    return PIVOTRACE_BUSY;
  }
  ++work.flipped;
  if (work.flipped < combinations(work)) {
    begin_attempt(work);
    return PIVOTRACE_BUSY;
  }
  work.phase = Phase::none;
  return verdict(work, other_way);
}

}  // namespace
}  // namespace pivotrace::PIVOTRACE_EMBEDDED

extern "C" int32_t pivotrace_begin_turn_sense(const pivotrace_survey* survey, void* work,
                                              size_t work_size) {
  const int32_t status = prepare(survey, work, work_size, false);
  if (status != PIVOTRACE_BUSY) return status;
  return survey->touches == 0 ? PIVOTRACE_TOO_FEW : PIVOTRACE_BUSY;
}

extern "C" int32_t pivotrace_step_turn_sense(const pivotrace_survey* survey, void* work,
                                             int32_t* other_way) {
  if (other_way == nullptr) return PIVOTRACE_NO_POINTER;
  Work* begun = static_cast<Work*>(work);
  const int32_t status = same_survey(survey, begun);
  if (status != PIVOTRACE_OK) return status;
  if (begun->station >= survey->stations) return close_attempt(*begun, *other_way);
  pass_station(*begun);
  return PIVOTRACE_BUSY;
}

extern "C" int32_t pivotrace_turn_sense(const pivotrace_survey* survey, void* work,
                                        size_t work_size, int32_t* other_way) {
  if (other_way == nullptr) return PIVOTRACE_NO_POINTER;
  *other_way = 0;
  int32_t status = pivotrace_begin_turn_sense(survey, work, work_size);
  while (status == PIVOTRACE_BUSY) status = pivotrace_step_turn_sense(survey, work, other_way);
  return status;
}

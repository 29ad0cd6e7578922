// The order of passes: an update is one, a fit goes start, exact, tests, result. Station by station.
// What only one of the two needs is called by that one alone, so that a program without updates is
// linked without them.
#include "embedded/suspects.h"

using namespace pivotrace::PIVOTRACE_EMBEDDED;

namespace pivotrace::PIVOTRACE_EMBEDDED {
namespace {

constexpr int most_starts = 4;
constexpr int most_passes = 12;
constexpr int most_updates = 4;

bool turned(const pivotrace_survey& survey, int axis) {
  for (int32_t s = 1; s < survey.stations; ++s) {
    if (survey.station[s].angle[axis] != survey.station[0].angle[axis]) return true;
  }
  return false;
}

/// What can be said before anything is solved.
int32_t enough_to_fit(const pivotrace_survey& survey, const Layout& layout) {
  if (survey.touches + layout.known < layout.unknowns) return PIVOTRACE_TOO_FEW;
  for (int k = 0; k < axes_of(*survey.setup); ++k) {
    if (!turned(survey, k)) return PIVOTRACE_NOT_TURNED;
  }
  return PIVOTRACE_OK;
}

int32_t refuse(Work& work, pivotrace_result& result, int32_t status, int32_t undetermined) {
  work.phase = Phase::none;
  work.located = 0;
  clear_result(result);
  result.undetermined = undetermined;
  return status;
}

/// By the algebraic gap until the axes are roughly found; all unknowns are held.
void begin_update_pass(Work& work) {
  work.phase = work.located == 0 ? Phase::start : Phase::exact;
  begin_pass(work, true);
}

int32_t close_update(Work& work, pivotrace_result& result) {
  const Step step = end_pass(work);
  if (!step.finite || !near_nominal(work)) {
    __builtin_memset(work.unknowns, 0, sizeof(work.unknowns));
    return refuse(work, result, PIVOTRACE_NOT_SETTLED, 0);
  }
  const bool again =
      (step.longest > near_enough_to_show || work.located == 0) && work.pass < most_updates;
  if (work.located != 0) pool_touches(work);
  work.located = step.longest > near_enough ? 0 : 1;
  if (again) {
    begin_update_pass(work);
    return PIVOTRACE_BUSY;
  }
  work.phase = Phase::none;
  clear_result(result);
  clear(work.felt, static_cast<int>(sizeof(work.felt) / sizeof(real)));
  conclude(work, result);
  name_artefacts_open(work, result);
  return PIVOTRACE_OK;
}

int32_t close_start(Work& work, pivotrace_result& result) {
  const Step step = end_pass(work);
  if (!step.finite) return refuse(work, result, PIVOTRACE_NOT_SETTLED, 0);
  if (step.longest <= near_enough || work.pass >= most_starts) {
    work.phase = Phase::exact;
    // What touches scatter about their own station is the same for either gap: the square of the
    // distance, a quadric, takes up any displacement.
    pool_touches(work);
  }
  begin_pass(work, work.phase == Phase::start);
  return PIVOTRACE_BUSY;
}

int32_t close_exact(Work& work, pivotrace_result& result) {
  const int32_t open = hanging(work);
  if (open != 0) return refuse(work, result, PIVOTRACE_UNDETERMINED, open);
  const Step step = end_pass(work);
  const bool lost =
      !step.finite || work.pass >= most_passes || (step.settled && !near_nominal(work));
  if (lost) return refuse(work, result, PIVOTRACE_NOT_SETTLED, 0);
  if (step.settled) {
    begin_tests(work, result);
  } else {
    begin_pass(work, false);
  }
  return PIVOTRACE_BUSY;
}

int32_t close_fit(Work& work, pivotrace_result& result) {
  judge(work, result);
  conclude(work, result);
  if (result.undetermined != 0) {
    return refuse(work, result, PIVOTRACE_WEAK, result.undetermined);
  }
  result.exact = 1;
  work.phase = Phase::none;
  return PIVOTRACE_OK;
}

int32_t begin_update(const pivotrace_survey* survey, void* memory, size_t size,
                     pivotrace_result& result) {
  clear_result(result);
  const int32_t status = prepare(survey, memory, size, true);
  if (status != PIVOTRACE_BUSY) return status;
  Work& work = *static_cast<Work*>(memory);
  work.job = PIVOTRACE_JOB_UPDATE;
  begin_update_pass(work);
  return status;
}

int32_t begin_fit(const pivotrace_survey* survey, void* memory, size_t size,
                  pivotrace_result& result) {
  clear_result(result);
  int32_t status = prepare(survey, memory, size, false);
  if (status != PIVOTRACE_BUSY) return status;
  Work& work = *static_cast<Work*>(memory);
  work.job = PIVOTRACE_JOB_FIT;
  const int32_t enough = enough_to_fit(*survey, work.layout);
  if (enough != PIVOTRACE_OK) {
    work.phase = Phase::none;
    return enough;
  }
  return status;
}

int32_t step_update(Work& work, pivotrace_result& result) {
  if (work.station >= work.survey->stations) return close_update(work, result);
  pass_station(work);
  return PIVOTRACE_BUSY;
}

int32_t step_fit(Work& work, pivotrace_result& result) {
  if (work.station < work.survey->stations) {
    work.phase == Phase::test ? test_station(work, result) : pass_station(work);
    return PIVOTRACE_BUSY;
  }
  if (work.phase == Phase::test) return close_fit(work, result);
  return work.phase == Phase::start ? close_start(work, result) : close_exact(work, result);
}

}  // namespace
}  // namespace pivotrace::PIVOTRACE_EMBEDDED

extern "C" int32_t pivotrace_begin_job(const pivotrace_survey* survey, void* work, size_t work_size,
                                       int32_t job, pivotrace_result* result) {
  if (result == nullptr) return PIVOTRACE_NO_POINTER;
  if (job == PIVOTRACE_JOB_UPDATE) return begin_update(survey, work, work_size, *result);
  if (job == PIVOTRACE_JOB_FIT) return begin_fit(survey, work, work_size, *result);
  clear_result(*result);
  return PIVOTRACE_BAD_SETUP;
}

extern "C" int32_t pivotrace_step(const pivotrace_survey* survey, void* work,
                                  pivotrace_result* result) {
  if (result == nullptr) return PIVOTRACE_NO_POINTER;
  Work* begun = static_cast<Work*>(work);
  const int32_t status = same_survey(survey, begun);
  if (status != PIVOTRACE_OK) return status;
  return begun->job == PIVOTRACE_JOB_UPDATE ? step_update(*begun, *result)
                                            : step_fit(*begun, *result);
}

extern "C" int32_t pivotrace_update(const pivotrace_survey* survey, void* work, size_t work_size,
                                    pivotrace_result* result) {
  if (result == nullptr) return PIVOTRACE_NO_POINTER;
  int32_t status = begin_update(survey, work, work_size, *result);
  while (status == PIVOTRACE_BUSY) status = step_update(*static_cast<Work*>(work), *result);
  return status;
}

extern "C" int32_t pivotrace_fit(const pivotrace_survey* survey, void* work, size_t work_size,
                                 pivotrace_result* result) {
  if (result == nullptr) return PIVOTRACE_NO_POINTER;
  int32_t status = begin_fit(survey, work, work_size, *result);
  while (status == PIVOTRACE_BUSY) status = step_fit(*static_cast<Work*>(work), *result);
  return status;
}

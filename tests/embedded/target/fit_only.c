/* What the bars of flash are about: a survey taken in, a fit with covariance, U95 and tests. Never run,
 * only linked and weighed. With MORE_... one call beyond; WANT_fit_alone: without the calls that take the
 * survey in; WANT_all_calls: with every call. */
#include <stddef.h>

#include "board.h"
#include "pivotrace/embedded/core.h"

#if !defined(WANT_fit_alone)
pivotrace_setup setup;
pivotrace_station stations[16];
pivotrace_touch touches[64];
#endif
pivotrace_survey survey;
#if defined(MORE_merge) || defined(WANT_all_calls)
pivotrace_survey other;
#endif
pivotrace_result result;
unsigned char work[4096];

int main(void) {
#if !defined(WANT_fit_alone)
  int32_t numbers[3] = {0, 0, 0};
  (void)pivotrace_begin_survey(&survey, &setup, stations, 16, touches, 64);
  (void)pivotrace_open_station(&survey, numbers, NULL, 0);
  (void)pivotrace_add_touch(&survey, numbers);
#endif
#if defined(MORE_update) || defined(WANT_all_calls)
  (void)pivotrace_update(&survey, work, sizeof(work), &result);
#endif
#if defined(MORE_turn_sense) || defined(WANT_all_calls)
  (void)pivotrace_turn_sense(&survey, work, sizeof(work), &numbers[0]);
#endif
#if defined(MORE_merge) || defined(WANT_all_calls)
  (void)pivotrace_merge(&survey, &other, 0);
#endif
#if defined(MORE_step) || defined(WANT_all_calls)
  (void)pivotrace_begin_job(&survey, work, sizeof(work), PIVOTRACE_JOB_FIT, &result);
  (void)pivotrace_step(&survey, work, &result);
#endif
#if defined(WANT_all_calls)
  (void)pivotrace_take_back_touch(&survey);
  (void)pivotrace_between_axes(&survey, &result, &result.axis[0].arm, &result.axis[0].arm);
#endif
  return (int)pivotrace_fit(&survey, work, sizeof(work), &result);
}

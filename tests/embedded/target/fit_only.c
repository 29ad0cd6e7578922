/* What the bars of flash are about: a survey taken in, a fit with covariance, U95 and tests. Never run,
 * only linked and weighed. With MORE_... one call beyond. */
#include <stddef.h>

#include "board.h"
#include "pivotrace/embedded/core.h"

pivotrace_setup setup;
pivotrace_survey survey;
#if defined(MORE_merge)
pivotrace_survey other;
#endif
pivotrace_station stations[16];
pivotrace_touch touches[64];
pivotrace_result result;
unsigned char work[4096];

int main(void) {
  int32_t numbers[3] = {0, 0, 0};
  (void)pivotrace_begin_survey(&survey, &setup, stations, 16, touches, 64);
  (void)pivotrace_open_station(&survey, numbers, NULL, 0);
  (void)pivotrace_add_touch(&survey, numbers);
#if defined(MORE_update)
  (void)pivotrace_update(&survey, work, sizeof(work), &result);
#elif defined(MORE_turn_sense)
  (void)pivotrace_turn_sense(&survey, work, sizeof(work), &numbers[0]);
#elif defined(MORE_merge)
  (void)pivotrace_merge(&survey, &other, 0);
#elif defined(MORE_step)
  (void)pivotrace_begin_job(&survey, work, sizeof(work), PIVOTRACE_JOB_FIT, &result);
  (void)pivotrace_step(&survey, work, &result);
#endif
  return (int)pivotrace_fit(&survey, work, sizeof(work), &result);
}

/* What the bars of flash are about: a survey taken in, a fit with covariance, U95 and tests. Never run,
 * only linked and weighed. */
#include <stddef.h>

#include "board.h"
#include "pivotrace/embedded/core.h"

pivotrace_setup setup;
pivotrace_survey survey;
pivotrace_station stations[16];
pivotrace_touch touches[64];
pivotrace_result result;
unsigned char work[4096];

int main(void) {
  int32_t numbers[3] = {0, 0, 0};
  (void)pivotrace_begin_survey(&survey, &setup, stations, 16, touches, 64);
  (void)pivotrace_open_station(&survey, numbers, NULL, 0);
  (void)pivotrace_add_touch(&survey, numbers);
  return (int)pivotrace_fit(&survey, work, sizeof(work), &result);
}

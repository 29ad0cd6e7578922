/* Runs one survey on the board and says on the serial line what it cost: instructions (the clock of
 * the emulator advances by the instruction) and stack (painted before, looked at after). Lines of
 * "name value"; the last is "end 0". */
#include <stddef.h>
#include <stdint.h>

#include "board.h"
#include "pivotrace/embedded/core.h"
#include "survey.h"

/* Index positions of the survey: of one axis twelve; of two, three of the first and five of the second
 * (its angle 0 is reached from both sides). */
#if SURVEY_AXES == 2
#define POSITIONS_1 3
#define POSITIONS_2 5
#else
#define POSITIONS_1 12
#define POSITIONS_2 0
#endif
#define EACH 1

static pivotrace_setup setup;
static pivotrace_survey survey;
static pivotrace_station stations[16];
static pivotrace_touch touches[SURVEY_TOUCHES];
static pivotrace_real work[PIVOTRACE_WORK_SIZE(PIVOTRACE_UNKNOWNS(SURVEY_AXES, 1, 0, 1), POSITIONS_1,
                                               POSITIONS_2, EACH) /
                           sizeof(pivotrace_real)];
static pivotrace_result result;

static void say_text(const char *text) {
  while (*text != '\0') {
    board_put(*text);
    ++text;
  }
}

static void say(const char *name, int32_t value) {
  char digits[12];
  int used = 0;
  uint32_t rest = value < 0 ? 0U - (uint32_t)value : (uint32_t)value;
  say_text(name);
  board_put(' ');
  if (value < 0) {
    board_put('-');
  }
  do {
    digits[used] = (char)('0' + rest % 10U);
    ++used;
    rest /= 10U;
  } while (rest != 0U);
  while (used > 0) {
    --used;
    board_put(digits[used]);
  }
  board_put('\n');
}

/* The machine as roughly known: centres up to 10 mm and directions up to 0.05 rad off. */
static void set_up(void) {
  static const pivotrace_axis x = {
      PIVOTRACE_WORK_SIDE, -1, {1, 0, 0}, {-25000000, -22000000, -31000000}, 4000, 0};
  setup.axes = SURVEY_AXES;
  setup.artefacts = 1;
  setup.axis[0] = x;
#if PIVOTRACE_AXES == 2
  static const pivotrace_axis z = {
      PIVOTRACE_WORK_SIDE, -1, {0, 0, 1}, {-25000000, -22000000, -33000000}, 4000, 0};
  setup.axis[1] = z;
#endif
  static const pivotrace_artefact ball = {
      PIVOTRACE_BALL, SURVEY_AXES - 1,
#if SURVEY_AXES == 1
      {-18600000, -15400000, -26400000},
#else
      {-20500000, -21400000, -28500000},
#endif
      {0, 0, 1}, 3140000, 600, -1};
  setup.artefact[0] = ball;
#if PIVOTRACE_LINEAR_TERMS
#define LINEAR_U(number) {number, number, number}
#else
#define LINEAR_U(number) {0, 0, 0}
#endif
  static const pivotrace_errors errors = {500,  2000, 8, {1000, 1000, 3000},
                                          LINEAR_U(8000), LINEAR_U(10000),
                                          {-25000000, -22000000, -31000000},
                                          500000, 1800000};
  setup.errors = errors;
}

static int32_t take_in(int count) {
  int t;
  int32_t status = pivotrace_begin_survey(&survey, &setup, stations, 16, touches, SURVEY_TOUCHES);
  for (t = 0; t < count && status == PIVOTRACE_OK; ++t) {
    const int32_t *row = survey_rows[t];
    if (t % 5 == 0) {
      status = pivotrace_open_station(&survey, row, NULL, 0);
    }
    if (status == PIVOTRACE_OK) {
      status = pivotrace_add_touch(&survey, row + 2);
    }
  }
  return status;
}

/* One tick is 40 ns, one instruction 64 ns of emulated time. */
static int32_t instructions(uint32_t ticks) { return (int32_t)(ticks / 8U * 5U + ticks % 8U * 5U / 8U); }

#define PAINT 0x5A5A5A5AU
extern uint32_t board_bss_end;

static void paint(void) {
  uint32_t here;
  /* As addresses: 256 bytes below this function's own. */
  const uintptr_t end = (uintptr_t)&here - 256U;
  uintptr_t next;
  for (next = (uintptr_t)&board_bss_end; next < end; next += 4U) {
    *(volatile uint32_t *)next = PAINT;
  }
}

static int32_t painted_over(void) {
  uint32_t here;
  const volatile uint32_t *next = &board_bss_end;
  while (*next == PAINT) {
    ++next;
  }
  return (int32_t)((uintptr_t)&here - (uintptr_t)next);
}

/* Ten thousand instructions, to see that the count is right. */
__attribute__((noinline)) static void ten_thousand(void) {
  __asm volatile(
      "mov r3, %0\n"
      "1: sub r3, r3, #1\n"
      "cmp r3, #0\n"
      "nop\n"
      "bne 1b\n" ::"r"(2500)
      : "r3", "cc");
}

static int32_t longest_slice(void) {
  uint32_t longest = 0;
  int32_t status =
      pivotrace_begin_job(&survey, work, sizeof(work), PIVOTRACE_JOB_FIT, &result);
  while (status == PIVOTRACE_BUSY) {
    const uint32_t from = board_ticks();
    status = pivotrace_step(&survey, work, &result);
    if (board_ticks() - from > longest) {
      longest = board_ticks() - from;
    }
  }
  return instructions(longest);
}

static int32_t nm(pivotrace_real mm) {
  const pivotrace_real scaled = mm * (pivotrace_real)1000000;
  return (int32_t)(scaled < 0 ? scaled - (pivotrace_real)0.5 : scaled + (pivotrace_real)0.5);
}

int main(void) {
  uint32_t from;
  uint32_t spent;
  int32_t status;
  int32_t other_way = 0;
  int k;
  board_begin();
  from = board_ticks();
  ten_thousand();
  say("calibration_instructions", instructions(board_ticks() - from));
  set_up();
  say("take_in_status", take_in(SURVEY_TOUCHES));
  say("work_needed", (int32_t)pivotrace_work_size(&survey));
  say("work_given", (int32_t)sizeof(work));
  say("result_size", (int32_t)sizeof(result));
  paint();
  from = board_ticks();
  status = pivotrace_fit(&survey, work, sizeof(work), &result);
  spent = board_ticks() - from;
  say("fit_stack", painted_over());
  say("fit_status", status);
  say("fit_instructions", instructions(spent));
  say("fit_passes", result.passes);
  for (k = 0; k < SURVEY_AXES; ++k) {
    say("centre_x_10nm", result.axis[k].centre[0]);
    say("centre_y_10nm", result.axis[k].centre[1]);
    say("centre_z_10nm", result.axis[k].centre[2]);
    say("U95_x_nm", nm(result.axis[k].location[0].U95_absolute));
    say("U95_y_nm", nm(result.axis[k].location[1].U95_absolute));
    say("U95_z_nm", nm(result.axis[k].location[2].U95_absolute));
  }
  say("longest_slice", longest_slice());
  from = board_ticks();
  status = pivotrace_update(&survey, work, sizeof(work), &result);
  say("update_instructions", instructions(board_ticks() - from));
  say("update_status", status);
  paint();
  from = board_ticks();
  status = pivotrace_turn_sense(&survey, work, sizeof(work), &other_way);
  spent = board_ticks() - from;
  say("sense_stack", painted_over());
  say("sense_instructions", instructions(spent));
  say("sense_status", status);
  say("end", 0);
  return 0;
}

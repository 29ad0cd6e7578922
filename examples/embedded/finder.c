/* A board that finds rotary axes: touches come in over a serial line, the state goes out after each.
 *
 * An example of how to put the library into a control, a retrofit board or a probe interface; read
 * include/pivotrace/embedded/core.h first, which is the manual, and the page "embedded" of the
 * program's manual for what a result must not be trusted with.
 *
 * THE LINE. One command a line, whole numbers in the units of core.h, separated by blanks. The board
 * answers with any number of lines and at last with "ready". The sender waits for it: nothing is lost
 * without interrupts or hand-shake wires, and the board is never hurried.
 *
 *   axis NUMBER LETTER SIDE TURN DX DY DZ CX CY CZ INDEX_MAS MOTION_NM
 *   artefact NUMBER KIND CARRIED_BY X Y Z DX DY DZ DIAMETER U_NM DIAMETER_AS
 *   errors TOUCH STATION DOF  OX OY OZ  SX SY SZ  XY YZ ZX  LX LY LZ  LOCATION ORIENTATION
 *   begin                          starts a survey with what was said
 *   station ARTEFACT ANGLE [ANGLE] a new stay of the rotary axes
 *   touch X Y Z                    a trigger
 *   undo                           forget the last touch
 *   fit                            the result
 *   sense                          does an axis turn the other way?
 *
 * Answers:
 *   state TOUCH open=BITS          what is still undetermined (PIVOTRACE_OPEN_..), then what is known:
 *   now NAME VALUE U95             mm or deg
 *   value NAME VALUE U95           of a fit: the pivot values
 *   offset LINE                    the RS274/NGC line that would put the centre into a work offset.
 *                                  TEXT FOR A PERSON: show it beside the offset in force, ask, and
 *                                  only then hand it to the interpreter. Not said beside a finding.
 *   finding NAME NUMBER            a suspect touch or station (counted from 1), too much scatter
 *   refused STATUS DETAIL          a status of core.h
 *   ready
 *
 * WATCHDOG. Whatever takes long is done in slices of one station, the watchdog fed between them. */
#include <stddef.h>
#include <stdint.h>

#include "board.h"
#include "pivotrace/embedded/core.h"

#define STATIONS 64
#define TOUCHES 512
/* Most index positions of each axis. Beyond these the survey is full. */
#define POSITIONS_1 16
#define POSITIONS_2 12
#define LINE 160
#define MOST_NUMBERS 20

static pivotrace_setup setup;
static char letters[2] = {'A', 'C'};
static pivotrace_survey survey;
static pivotrace_station stations[STATIONS];
static pivotrace_touch touches[TOUCHES];
static pivotrace_real work[PIVOTRACE_WORK_SIZE(PIVOTRACE_UNKNOWNS(2, 1, 0, 1), POSITIONS_1,
                                               POSITIONS_2, 1) /
                           sizeof(pivotrace_real)];
static pivotrace_result result;

/* ---- words out ---- */

static void say(const char *text) {
  while (*text != '\0') {
    board_put(*text);
    ++text;
  }
}

static void say_letter(char letter) { board_put(letter); }

static void end_line(void) { board_put('\n'); }

static void say_whole(int32_t value) {
  char digits[10];
  int used = 0;
  uint32_t rest = value < 0 ? 0U - (uint32_t)value : (uint32_t)value;
  if (value < 0) {
    board_put('-');
  }
  do {
    digits[used] = (char)('0' + (char)(rest % 10U));
    ++used;
    rest /= 10U;
  } while (rest != 0U);
  while (used > 0) {
    --used;
    board_put(digits[used]);
  }
}

/* value / 10^decimals */
static void say_decimal(int32_t value, int decimals) {
  uint32_t unit = 1U;
  uint32_t rest = value < 0 ? 0U - (uint32_t)value : (uint32_t)value;
  int k;
  for (k = 0; k < decimals; ++k) {
    unit *= 10U;
  }
  if (value < 0) {
    board_put('-');
  }
  say_whole((int32_t)(rest / unit));
  board_put('.');
  rest %= unit;
  for (k = 0; k < decimals; ++k) {
    unit /= 10U;
    board_put((char)('0' + (char)(rest / unit)));
    rest %= unit;
  }
}

static int32_t rounded(pivotrace_real value) {
  return (int32_t)(value < 0 ? value - (pivotrace_real)0.5 : value + (pivotrace_real)0.5);
}

static void say_mm(pivotrace_real mm) { say_decimal(rounded(mm * (pivotrace_real)1e6), 6); }

static void say_degrees(pivotrace_real rad) {
  say_decimal(rounded(rad * (pivotrace_real)57295779.5), 6);
}

static void refuse(int32_t status, int32_t detail) {
  say("refused ");
  say_whole(status);
  board_put(' ');
  say_whole(detail);
  end_line();
}

/* ---- numbers in ---- */

/* Reads whole numbers; how many there were, or -1 when something else stands there. */
static int read_numbers(const char *text, int32_t *numbers) {
  int count = 0;
  while (*text == ' ') {
    ++text;
  }
  while (*text != '\0') {
    int negative = *text == '-';
    int64_t value = 0;
    if (negative != 0) {
      ++text;
    }
    if (*text < '0' || *text > '9' || count == MOST_NUMBERS) {
      return -1;
    }
    while (*text >= '0' && *text <= '9') {
      value = 10 * value + (*text - '0');
      if (value > 2147483647) {
        return -1;
      }
      ++text;
    }
    numbers[count] = (int32_t)(negative != 0 ? -value : value);
    ++count;
    while (*text == ' ') {
      ++text;
    }
  }
  return count;
}

/* What follows the word, or null when the line begins with another. */
static const char *after_word(const char *line, const char *word) {
  while (*word != '\0' && *line == *word) {
    ++line;
    ++word;
  }
  return *word == '\0' && (*line == ' ' || *line == '\0') ? line : NULL;
}

/* ---- the set-up ---- */

static void three(const int32_t *from, int32_t *to) {
  int k;
  for (k = 0; k < 3; ++k) {
    to[k] = from[k];
  }
}

static int32_t take_axis(const char *text) {
  int32_t n[MOST_NUMBERS];
  char letter;
  pivotrace_axis *axis;
  while (*text == ' ') {
    ++text;
  }
  if (text[0] < '0' || text[0] > '1' || text[1] != ' ' || text[2] == '\0') {
    return PIVOTRACE_BAD_READING;
  }
  axis = &setup.axis[text[0] - '0'];
  letter = text[2];
  if (setup.axes < text[0] - '0' + 1) {
    setup.axes = text[0] - '0' + 1;
  }
  letters[text[0] - '0'] = letter;
  if (read_numbers(text + 3, n) != 10) {
    return PIVOTRACE_BAD_READING;
  }
  axis->side = n[0];
  axis->turn = n[1];
  three(n + 2, axis->direction);
  three(n + 5, axis->centre);
  axis->index_sigma_mas = n[8];
  axis->motion_sigma_nm = n[9];
  return PIVOTRACE_OK;
}

static int32_t take_artefact(const char *text) {
  int32_t n[MOST_NUMBERS];
  pivotrace_artefact *artefact;
  if (read_numbers(text, n) != 12 || n[0] < 0 || n[0] >= PIVOTRACE_ARTEFACTS) {
    return PIVOTRACE_BAD_READING;
  }
  artefact = &setup.artefact[n[0]];
  if (setup.artefacts < n[0] + 1) {
    setup.artefacts = n[0] + 1;
  }
  artefact->kind = n[1];
  artefact->carried_by = n[2];
  three(n + 3, artefact->at);
  three(n + 6, artefact->direction);
  artefact->diameter = n[9];
  artefact->diameter_u_nm = n[10];
  artefact->diameter_as = n[11];
  return PIVOTRACE_OK;
}

static int32_t take_errors(const char *text) {
  int32_t n[MOST_NUMBERS];
  if (read_numbers(text, n) != 17) {
    return PIVOTRACE_BAD_READING;
  }
  setup.errors.touch_sigma_nm = n[0];
  setup.errors.station_sigma_nm = n[1];
  setup.errors.dof = n[2];
  three(n + 3, setup.errors.probe_offset_u_nm);
  three(n + 6, setup.errors.scale_u_nm_per_m);
  three(n + 9, setup.errors.squareness_u_nm_per_m);
  three(n + 12, setup.errors.linear_origin);
  setup.errors.location_limit_nm = n[15];
  setup.errors.orientation_limit_mas = n[16];
  return PIVOTRACE_OK;
}

/* ---- jobs ---- */

static int32_t run(int32_t job) {
  int32_t status = pivotrace_begin_job(&survey, work, sizeof(work), job, &result);
  while (status == PIVOTRACE_BUSY) {
    board_feed_watchdog();
    status = pivotrace_step(&survey, work, &result);
  }
  return status;
}

static void say_name(int k, const char *kind, char direction) {
  say_letter(letters[k]);
  say(kind);
  say_letter(direction);
  board_put(' ');
}

/* Both coordinates and both angles of one axis; what is open is left out. */
static void say_axis(const char *word, int k) {
  static const char linear[3] = {'X', 'Y', 'Z'};
  static const char angular[3] = {'A', 'B', 'C'};
  const pivotrace_axis_result *axis = &result.axis[k];
  const int32_t open = result.undetermined >> (2 * k);
  int c;
  for (c = 0; c < 3; ++c) {
    const pivotrace_value *location = &axis->location[c];
    const pivotrace_value *orientation = &axis->orientation[c];
    if (location->u > 0 && (open & PIVOTRACE_OPEN_CENTRE) == 0) {
      say(word);
      say_name(k, ".centre.", linear[c]);
      say_decimal(axis->centre[c], 5);
      board_put(' ');
      say_mm(location->U95_absolute);
      end_line();
    }
    if (orientation->u > 0 && (open & PIVOTRACE_OPEN_LEAN) == 0) {
      say(word);
      say_name(k, ".orientation.", angular[c]);
      say_degrees(orientation->value);
      board_put(' ');
      say_degrees(orientation->U95_absolute);
      end_line();
    }
  }
}

static void say_state(void) {
  const int32_t status = run(PIVOTRACE_JOB_UPDATE);
  int k;
  if (status != PIVOTRACE_OK) {
    refuse(status, result.undetermined);
    return;
  }
  say("state ");
  say_whole(result.touches);
  say(" open=");
  say_whole(result.undetermined);
  end_line();
  for (k = 0; k < setup.axes; ++k) {
    say_axis("now ", k);
  }
}

/* Work offset number k + 1 gets the centre of a work-side axis, in the two coordinates it has. */
static void say_offset(int k) {
  static const char linear[3] = {'X', 'Y', 'Z'};
  int c;
  say("offset G10 L2 P");
  say_whole(k + 1);
  for (c = 0; c < 3; ++c) {
    if (result.axis[k].location[c].u > 0) {
      board_put(' ');
      say_letter(linear[c]);
      say_decimal(result.axis[k].centre[c], 5);
    }
  }
  end_line();
}

static void say_findings(void) {
  if ((result.findings & PIVOTRACE_FOUND_TOUCH) != 0) {
    say("finding touch ");
    say_whole(result.worst_touch + 1);
    end_line();
  }
  if ((result.findings & PIVOTRACE_FOUND_STATION) != 0) {
    say("finding station ");
    say_whole(result.worst_station + 1);
    end_line();
  }
  if ((result.findings & PIVOTRACE_FOUND_TOUCHES) != 0) {
    say("finding touches-scatter 0\n");
  }
  if ((result.findings & PIVOTRACE_FOUND_STATIONS) != 0) {
    say("finding stations-scatter 0\n");
  }
}

static void say_between(void) {
  pivotrace_value distance;
  pivotrace_value crossing;
  if (pivotrace_between_axes(&survey, &result, &distance, &crossing) != PIVOTRACE_OK) {
    return;
  }
  say("value ");
  say_letter(letters[0]);
  board_put('-');
  say_letter(letters[1]);
  say(".distance ");
  say_mm(distance.value);
  board_put(' ');
  say_mm(distance.U95_absolute);
  say("\nvalue ");
  say_letter(letters[0]);
  board_put('-');
  say_letter(letters[1]);
  say(".crossing ");
  say_degrees(crossing.value);
  board_put(' ');
  say_degrees(crossing.U95_absolute);
  end_line();
}

static void say_fit(void) {
  const int32_t status = run(PIVOTRACE_JOB_FIT);
  int k;
  if (status != PIVOTRACE_OK) {
    refuse(status, result.undetermined);
    return;
  }
  say_findings();
  for (k = 0; k < setup.axes; ++k) {
    say_axis("value ", k);
    if (setup.axis[k].side == PIVOTRACE_TOOL_SIDE) {
      say("value ");
      say_letter(letters[k]);
      say(".pivot_to_stylus ");
      say_mm(result.axis[k].arm.value);
      board_put(' ');
      say_mm(result.axis[k].arm.U95_absolute);
      end_line();
    } else {
      if (result.findings == 0) {
        say_offset(k);
      }
    }
  }
  say_between();
}

static void say_sense(void) {
  int32_t other_way = 0;
  int32_t status = pivotrace_begin_turn_sense(&survey, work, sizeof(work));
  while (status == PIVOTRACE_BUSY) {
    board_feed_watchdog();
    status = pivotrace_step_turn_sense(&survey, work, &other_way);
  }
  if (status != PIVOTRACE_OK) {
    refuse(status, other_way);
  }
}

/* ---- commands ---- */

static int32_t open_station(const char *text) {
  int32_t n[MOST_NUMBERS];
  const int count = read_numbers(text, n);
  if (survey.setup == NULL || count != 1 + setup.axes) {
    return PIVOTRACE_BAD_READING;
  }
  return pivotrace_open_station(&survey, n + 1, NULL, n[0]);
}

static int32_t take_touch(const char *text) {
  int32_t n[MOST_NUMBERS];
  int32_t status;
  if (survey.setup == NULL || read_numbers(text, n) != 3) {
    return PIVOTRACE_BAD_READING;
  }
  status = pivotrace_add_touch(&survey, n);
  if (status == PIVOTRACE_OK) {
    say_state();
  }
  return status;
}

static int32_t obey(const char *line) {
  const char *rest;
  if ((rest = after_word(line, "axis")) != NULL) {
    return take_axis(rest);
  }
  if ((rest = after_word(line, "artefact")) != NULL) {
    return take_artefact(rest);
  }
  if ((rest = after_word(line, "errors")) != NULL) {
    return take_errors(rest);
  }
  if (after_word(line, "begin") != NULL) {
    return pivotrace_begin_survey(&survey, &setup, stations, STATIONS, touches, TOUCHES);
  }
  if ((rest = after_word(line, "station")) != NULL) {
    return open_station(rest);
  }
  if ((rest = after_word(line, "touch")) != NULL) {
    return take_touch(rest);
  }
  if (after_word(line, "undo") != NULL) {
    return pivotrace_take_back_touch(&survey);
  }
  if (after_word(line, "fit") != NULL) {
    say_fit();
    return PIVOTRACE_OK;
  }
  if (after_word(line, "sense") != NULL) {
    say_sense();
    return PIVOTRACE_OK;
  }
  return PIVOTRACE_BAD_READING;
}

int main(void) {
  static char line[LINE];
  int used = 0;
  board_begin();
  say("ready\n");
  for (;;) {
    const int c = board_get();
    board_feed_watchdog();
    if (c == '\n') {
      int32_t status;
      line[used] = '\0';
      status = used < LINE - 1 ? obey(line) : PIVOTRACE_BAD_READING;
      if (status != PIVOTRACE_OK) {
        refuse(status, survey.at_fault);
      }
      say("ready\n");
      used = 0;
    } else if (c >= 0 && c != '\r' && used < LINE - 1) {
      line[used] = (char)c;
      ++used;
    } else {
      /* Nothing came in, or the line is too long: its end will say so. */
    }
  }
}

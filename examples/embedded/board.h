/* What the example needs of a board: a serial line, a count of processor cycles, an end.
 * Here: the MPS2 evaluation boards (application notes AN385 Cortex-M3, AN386 Cortex-M4 with single
 * precision, AN500 Cortex-M7 with double precision), which share their memory map. For another
 * board only board.c and board.ld change. */
#ifndef EXAMPLE_BOARD_H
#define EXAMPLE_BOARD_H

#include <stdint.h>

/* Serial line and counter on, watchdog of the board left off: feed_watchdog is where it would be fed. */
void board_begin(void);
void board_feed_watchdog(void);

void board_put(char c);
/* -1 when nothing has come in. */
int board_get(void);

/* Ticks of 25 MHz, counting up, wrapping at 2^32. */
uint32_t board_ticks(void);

/* Resets the board. */
void board_end(void);

#endif

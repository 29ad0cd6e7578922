/* Start-up and devices of the MPS2 evaluation boards. No semihosting: what the board says goes out
 * on its serial line. */
#include "board.h"

#include <stddef.h>

extern uint32_t board_stack_top;
extern uint32_t board_data_load;
extern uint32_t board_data_begin;
extern uint32_t board_data_end;
extern uint32_t board_bss_begin;
extern uint32_t board_bss_end;

int main(void);

#define REGISTER(address) (*(volatile uint32_t *)(uintptr_t)(address))

/* CMSDK timer 0 counts down from its reload value. */
#define TIMER_CONTROL REGISTER(0x40000000U)
#define TIMER_VALUE REGISTER(0x40000004U)
#define TIMER_RELOAD REGISTER(0x40000008U)

/* CMSDK serial line 0. */
#define SERIAL_DATA REGISTER(0x40004000U)
#define SERIAL_STATE REGISTER(0x40004004U)
#define SERIAL_CONTROL REGISTER(0x40004008U)
#define SERIAL_DIVIDER REGISTER(0x40004010U)
#define SERIAL_FULL 1U
#define SERIAL_HOLDS 2U

/* System control block of every Cortex-M. */
#define COPROCESSORS REGISTER(0xE000ED88U)
#define RESET REGISTER(0xE000ED0CU)

static void stop(void) {
  for (;;) {
    /* A fault: stand still until the watchdog bites. */
  }
}

void board_reset_handler(void) {
  const uint32_t *from = &board_data_load;
  uint32_t *to;
  for (to = &board_data_begin; to < &board_data_end; ++to) {
    *to = *from;
    ++from;
  }
  for (to = &board_bss_begin; to < &board_bss_end; ++to) {
    *to = 0U;
  }
#if defined(__ARM_FP)
  /* The floating-point unit is off after reset: full access to coprocessors 10 and 11. */
  COPROCESSORS |= 0xFU << 20U;
  __asm volatile("dsb\n isb" ::: "memory");
#endif
  (void)main();
  board_end();
}

/* Initial stack, reset, and the faults; interrupts are not used. */
__attribute__((section(".vectors"), used)) static const struct {
  uint32_t *stack;
  void (*handlers[15])(void);
} board_vectors = {&board_stack_top,
                   {board_reset_handler, stop, stop, stop, stop, stop, stop, stop, stop, stop, stop,
                    stop, stop, stop, stop}};

void board_begin(void) {
  SERIAL_DIVIDER = 217U; /* 115200 baud of 25 MHz */
  SERIAL_CONTROL = 3U;
  TIMER_RELOAD = 0xFFFFFFFFU;
  TIMER_VALUE = 0xFFFFFFFFU;
  TIMER_CONTROL = 1U;
}

void board_feed_watchdog(void) {}

void board_put(char c) {
  while ((SERIAL_STATE & SERIAL_FULL) != 0U) {
  }
  SERIAL_DATA = (uint32_t)(unsigned char)c;
}

int board_get(void) {
  if ((SERIAL_STATE & SERIAL_HOLDS) == 0U) {
    return -1;
  }
  return (int)(SERIAL_DATA & 0xFFU);
}

uint32_t board_ticks(void) { return 0xFFFFFFFFU - TIMER_VALUE; }

void board_end(void) {
  RESET = 0x05FA0004U;
  stop();
}

/* Stored by one instruction. */
typedef struct {
  uint32_t a;
  uint32_t b;
  uint32_t c;
  uint32_t d;
} four_words;

/* The two functions the library and the compiler ask for, word by word where they can. */
void *memset(void *to, int value, size_t size) {
  unsigned char *next = to;
  if (((uintptr_t)next & 3U) == 0U) {
    const uint32_t word = (uint32_t)(unsigned char)value * 0x01010101U;
    const four_words filled = {word, word, word, word};
    four_words *fours = (four_words *)(void *)next;
    four_words *const end = fours + size / 16U;
    uint32_t *words;
    while (fours != end) {
      *fours = filled;
      ++fours;
    }
    words = (uint32_t *)(void *)fours;
    for (size &= 15U; size >= 4U; size -= 4U) {
      *words = word;
      ++words;
    }
    next = (unsigned char *)(void *)words;
  }
  while (size != 0U) {
    *next = (unsigned char)value;
    ++next;
    --size;
  }
  return to;
}

void *memcpy(void *restrict to, const void *restrict from, size_t size) {
  unsigned char *next = to;
  const unsigned char *source = from;
  while (size >= 4U && (((uintptr_t)next | (uintptr_t)source) & 3U) == 0U) {
    *(uint32_t *)(void *)next = *(const uint32_t *)(const void *)source;
    next += 4;
    source += 4;
    size -= 4U;
  }
  while (size != 0U) {
    *next = *source;
    ++next;
    ++source;
    --size;
  }
  return to;
}

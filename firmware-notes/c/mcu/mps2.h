/* The board mps2-an385 as far as a jig needs it: start-up, a clock, a serial line. */
#ifndef MPS2_H
#define MPS2_H

#include <stddef.h>
#include <stdint.h>

/* Starts the serial line at 115200 and the clock. */
void mps2_start(void);

/* Milliseconds since power-up; wraps. */
uint32_t mps2_ms(void);

/* The core's ticks of 40 ns, which count down from 2^24 - 1 when nobody needs milliseconds. */
void mps2_count(void);
uint32_t mps2_ticks(void);

void mps2_send(const char *text, size_t n);

/* A byte that came over the serial line, or -1. */
int mps2_receive(void);

/* Ends the emulator. */
void mps2_end(void);

#endif

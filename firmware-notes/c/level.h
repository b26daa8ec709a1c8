/* From samples of the ADC to a reading: RMS, peak, fundamental, and the flags that the
 * samples tell. Integers only, no heap; some 4.2 kB for each struct level. See ../README.md.
 *
 * Against double precision on the same samples:
 *   RMS    within 0.5 uV and half a code's uV divided by the number of samples
 *   peak   within 0.5 uV
 *   fundamental within 0.1 % from 30 to 700 Hz, over 0.25 s or more of a plucked string
 *          20 dB above the quiet level; 0 when there is none
 */
#ifndef LEVEL_H
#define LEVEL_H

#include "jig.h"

enum {
    LEVEL_MOST = 65536,  /* samples in a window, at most, so that no sum overflows */
    LEVEL_KEEP = 2048,   /* samples kept for the fundamental, at some 4 kHz */
    LEVEL_THIN = 4000    /* Hz, what the rate is thinned out to for that */
};

struct level_setup {
    uint32_t rate;    /* samples a second, 4000 or more */
    uint32_t skip;    /* samples from the release to the window */
    uint32_t window;  /* samples, 1 to LEVEL_MOST */
    uint32_t factor;  /* uV a code at the pickup, times 65536: measured with a source */
    uint32_t top;     /* highest code of the ADC, as 65535; 0 is the lowest. 16 bits at most */
    int moved;        /* 1 a pluck, 0 a window in which nothing is struck */
};

struct level {
    const struct level_setup *setup;
    uint32_t seen;           /* samples since the release */
    uint32_t n;              /* samples in the window */
    int64_t sum;             /* of codes less the middle one, */
    uint64_t squares;        /* and of their squares */
    int32_t least, most;
    uint32_t stuck;          /* samples in a row at the end of the ADC's range */
    uint32_t flags;
    uint32_t block, in_block;         /* length of a block for double strikes, and how far it is */
    int64_t block_sum;
    uint64_t block_squares, before, earlier, loudest; /* power times n squared of blocks */
    uint32_t blocks;
    uint32_t thin, in_thin;           /* one in so many samples is kept */
    uint32_t once, twice, last_once, last_twice; /* two running sums and what they were */
    int16_t kept[LEVEL_KEEP];
    uint32_t held;
};

/* Starts at the release of the string. The setup stays the caller's. */
void level_start(struct level *l, const struct level_setup *setup);

/* Takes a sample, and tells whether the window is full. */
int level_sample(struct level *l, uint32_t code);

/* Sets level, peak, freq, window and flags of a reading; window shorter than was meant: JIG_SHORT.
 * It takes as long as some thousand samples, mostly for the fundamental. */
void level_finish(struct level *l, struct jig_reading *r);

#endif

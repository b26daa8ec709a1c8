/* A jig on an emulated board: a real core, a real serial line, and an ADC that plays samples
 * which the emulator was given. A firmware has its own ADC, pluckers and clock here. */
#include "../jig.h"
#include "../level.h"
#include "mps2.h"

enum {
    STRINGS = 6,
    WAVES = 4,           /* plucks of each string, played in turn */
    PIECE = 256,         /* samples between two looks at the serial line */
    FULL_SCALE = 2000000 /* uV: 16 bits of 61.035 uV a code */
};

/* What the ADC plays: for each string its plucks from the release on and a quiet window,
 * then the codes. The emulator puts it into memory; see README.md. */
struct tape {
    uint32_t magic;
    uint32_t rate;       /* samples a second */
    uint32_t speed;      /* so many times faster than a real ADC */
    uint32_t window;     /* samples */
    struct { uint32_t from, n; } wave[STRINGS][WAVES + 1]; /* in codes; the last one is quiet */
    uint16_t code[];
};

enum { MAGIC = 0x4A494731 };

static const struct tape *const tape = (const struct tape *)0x21000000;

/* The emulator puts a new number here each time: in place of a counter in flash. */
static const volatile uint32_t *const boot = (const volatile uint32_t *)0x203FFFF0;

static struct {
    struct level level;
    struct level_setup setup;
    int running;
    uint32_t began;              /* ms */
    uint32_t from, n, played;    /* codes */
    uint32_t plucked[STRINGS];
} adc;

/* Releases the string, or begins a quiet window. */
static void release(const struct jig_command *c)
{
    uint32_t string = c->place - 1;
    int moved = c->verb == JIG_PLUCK;
    uint32_t wave = moved ? adc.plucked[string]++ % WAVES : WAVES;

    adc.setup = (struct level_setup){
        .rate = tape->rate, .skip = tape->rate / 50, .window = tape->window,
        .factor = 4000000, .top = 65535, .moved = moved
    };
    level_start(&adc.level, &adc.setup);
    adc.from = tape->wave[string][wave].from;
    adc.n = tape->wave[string][wave].n;
    adc.played = 0;
    adc.began = mps2_ms();
    adc.running = 1;
}

/* Takes the samples that have come by now, and tells whether there will be no more. */
static int play(void)
{
    uint64_t due = (uint64_t)(mps2_ms() - adc.began) * tape->rate * tape->speed / 1000;

    for (int i = 0; i < PIECE && adc.played < due; i++) {
        if (adc.played == adc.n || level_sample(&adc.level, tape->code[adc.from + adc.played]))
            return 1;
        adc.played++;
    }
    return 0;
}

static int take(const struct jig_command *c, struct jig_reading *r)
{
    if (c->verb == JIG_FIELD) {
        r->level = c->place % 2 ? 50000 : -50000;
        return 1;
    }
    if (tape->magic != MAGIC)
        return -1;
    if (!adc.running)
        release(c);
    if (!play())
        return 0;
    adc.running = 0;
    level_finish(&adc.level, r);
    if (c->verb == JIG_QUIET)
        r->freq = 0;
    return 1;
}

static void halt(void)
{
    adc.running = 0;
}

int main(void)
{
    static struct jig jig;
    static const struct jig_board board = {
        "emulated", "m3-1", "travel", STRINGS, STRINGS, FULL_SCALE, mps2_send, take, halt
    };

    mps2_start();
    jig_start(&jig, &board, *boot);
    for (;;) {
        for (int c = mps2_receive(); c >= 0; c = mps2_receive())
            jig_byte(&jig, (char)c);
        jig_run(&jig, mps2_ms());
    }
}

/* Counts what a sample costs, on an emulator that makes an instruction last 1 ns:
 * prints "samples N ticks T finish F", ticks of 40 instructions. */
#include "../level.h"
#include "mps2.h"

enum { RATE = 32000, SAMPLES = 16000 };

static void say(const char *name, uint32_t v)
{
    char text[32];
    size_t n = sizeof text;

    text[--n] = ' ';
    do {
        text[--n] = (char)('0' + v % 10);
        v /= 10;
    } while (v > 0);
    for (size_t length = 0; name[length]; length++)
        mps2_send(name + length, 1);
    mps2_send(text + n, sizeof text - n);
}

int main(void)
{
    static struct level level;
    static const struct level_setup setup = { RATE, 0, SAMPLES, 4000000, 65535, 1 };
    struct jig_reading r = { 0 };
    uint32_t begin, between, end, phase = 0;

    mps2_start();
    mps2_count();
    level_start(&level, &setup);
    begin = mps2_ticks();
    for (int i = 0; i < SAMPLES; i++) {
        phase += 0xFFFFFFFFu / RATE * 196; /* a saw of 196 Hz */
        level_sample(&level, 16384 + (phase >> 17));
    }
    between = mps2_ticks();
    level_finish(&level, &r);
    end = mps2_ticks();
    say("samples ", SAMPLES);
    say("ticks ", begin - between);
    say("finish ", between - end);
    say("freq ", r.freq);
    mps2_send("\n", 1);
    mps2_end();
    return 0;
}

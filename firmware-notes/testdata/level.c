/* Reads 16-bit codes, the lower byte first, and prints what level.c makes of them:
 *     program RATE SKIP WINDOW FACTOR TOP MOVED < codes
 */
#include "level.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
    static struct level level;
    struct jig_reading r = { 0 };
    uint32_t v[6];
    int low, high;

    if (argc != 7)
        return 1;
    for (int i = 0; i < 6; i++)
        v[i] = (uint32_t)strtoul(argv[i + 1], NULL, 10);
    struct level_setup setup = { v[0], v[1], v[2], v[3], v[4], (int)v[5] };
    level_start(&level, &setup);
    while ((low = getchar()) != EOF && (high = getchar()) != EOF)
        if (level_sample(&level, (uint32_t)low | (uint32_t)high << 8))
            break;
    level_finish(&level, &r);
    printf("%" PRId32 " %" PRIu32 " %" PRIu32 " %" PRIu32 " %" PRIX32 "\n", r.level, r.peak, r.freq, r.window, r.flags);
    return 0;
}

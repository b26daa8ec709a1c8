/* A pretended board on standard input and output, to try jig.c on a computer
 * (POSIX). A firmware has a file of its own in place of this one.
 *
 *     cc -std=c99 -o pretend jig.c pretend.c
 */
#define _POSIX_C_SOURCE 200809L
#include "jig.h"

#include <poll.h>
#include <time.h>
#include <unistd.h>

static uint32_t clock_ms(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint32_t)((uint64_t)t.tv_sec * 1000 + (uint64_t)t.tv_nsec / 1000000);
}

static void send_bytes(const char *line, size_t n)
{
    while (n > 0) {
        ssize_t sent = write(STDOUT_FILENO, line, n);
        if (sent <= 0)
            _exit(1);
        line += sent;
        n -= (size_t)sent;
    }
}

/* Levels that show which take they are of; no more than that. */
static int pretend_take(const struct jig_command *c, struct jig_reading *r)
{
    switch (c->verb) {
    case JIG_FIELD:
        r->level = c->place % 2 ? 50000 : -50000;
        return 1;
    case JIG_QUIET:
        r->level = 200;
        break;
    default:
        r->level = (int32_t)(90000 - 4000 * c->place + 10 * c->taken);
        r->freq = c->verb == JIG_DRIVE ? c->freq : 440000;
    }
    r->peak = 3 * (uint32_t)r->level;
    r->window = 500;
    return 1;
}

static void nothing_moves(void) {}

int main(void)
{
    static struct jig jig; /* too large for the stack of a small machine */
    static const struct jig_board board = {
        "pretend", "c-1", "travel", 6, 24, 2000000, send_bytes, pretend_take, nothing_moves
    };
    uint32_t start = clock_ms();
    char in[64];

    /* The time of day will do here. A jig needs a counter in its flash. */
    jig_start(&jig, &board, (uint32_t)time(NULL));
    for (;;) {
        struct pollfd fd = { STDIN_FILENO, POLLIN, 0 };
        if (poll(&fd, 1, jig.queued > 0 ? 0 : 10) > 0) {
            ssize_t n = read(STDIN_FILENO, in, sizeof in);
            if (n <= 0)
                return 0; /* the host is gone */
            for (ssize_t i = 0; i < n; i++)
                jig_byte(&jig, in[i]);
        }
        jig_run(&jig, clock_ms() - start);
    }
}

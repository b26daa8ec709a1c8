#include "jig.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

uint32_t jig_crc(const char *p, size_t n)
{
    uint32_t crc = 0xFFFFFFFFu;

    while (n--) {
        crc ^= (unsigned char)*p++;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc & 1u) ? (crc >> 1) ^ 0xEDB88320u : crc >> 1;
    }
    return crc ^ 0xFFFFFFFFu;
}

/* Sending. */

static void say(struct jig *j, const char *format, ...)
{
    char line[JIG_LINE + 1];
    const int room = JIG_LINE - 10; /* for the body: 160 less *, CRC and LF */
    va_list args;

    va_start(args, format);
    int n = vsnprintf(line, (size_t)room + 1, format, args);
    va_end(args);
    if (n < 0 || n > room)
        return; /* cannot be said in one line; a board with such a name needs a shorter one */
    n += snprintf(line + n, sizeof line - (size_t)n, "*%08" PRIX32 "\n", jig_crc(line, (size_t)n));
    j->board->send(line, (size_t)n);
}

static void say_ident(struct jig *j)
{
    const struct jig_board *b = j->board;

    say(j, "I,1,%s,%08" PRIX32 ",%s,%u,%" PRIu32 ",%s", b->name, j->boot, b->firmware, b->strings, b->full_scale, b->excite);
}

static void say_reading(struct jig *j, const struct jig_reading *r)
{
    if (r->mode == 'F')
        say(j, "F,%08" PRIX32 ",%" PRIu32 ",%" PRIu32 ",%" PRIu32 ",%" PRIu32 ",%" PRId32,
            j->boot, r->seq, r->ms, r->place, r->take, r->level);
    else
        say(j, "R,%08" PRIX32 ",%" PRIu32 ",%" PRIu32 ",%" PRIu32 ",%" PRIu32 ",%c,%" PRId32 ",%" PRIu32 ",%" PRIu32 ",%" PRIu32 ",%" PRIX32,
            j->boot, r->seq, r->ms, r->place, r->take, r->mode, r->level, r->peak, r->freq, r->window, r->flags);
}

static void say_answer(struct jig *j, const struct jig_answer *a)
{
    static const char *const text[] = {
        "", "unknown command", "bad argument", "not available", "mechanical fault", "stopped", "busy"
    };

    if (a->code == JIG_DONE)
        say(j, "A,%" PRIu32, a->id);
    else if (a->gone)
        say(j, "E,%" PRIu32 ",%d,%" PRIu32 " is gone", a->id, a->code, a->gone_seq);
    else
        say(j, "E,%" PRIu32 ",%d,%s", a->id, a->code, text[a->code]);
}

/* Answers. */

static void finish(struct jig *j, const struct jig_command *c, enum jig_code code)
{
    struct jig_answer a = { c->id, code, c->gone, c->gone_seq };

    say_answer(j, &a);
    if (code == JIG_BUSY)
        return; /* not remembered: the host may ask again */
    j->answers[j->answered] = a;
    j->answered = (j->answered + 1) % JIG_ANSWERS;
}

static void forget_answers(struct jig *j)
{
    for (int i = 0; i < JIG_ANSWERS; i++)
        j->answers[i].code = -1;
}

static int answer_again(struct jig *j, uint32_t id)
{
    for (int i = 1; i <= JIG_ANSWERS; i++) { /* the newest first */
        const struct jig_answer *a = &j->answers[(j->answered + JIG_ANSWERS - i) % JIG_ANSWERS];
        if (a->code >= 0 && a->id == id) {
            say_answer(j, a);
            return 1;
        }
    }
    return 0;
}

/* Understanding. */

/* Reads a decimal number up to 2^32-1; field and all. */
static int number(const char *field, uint32_t *out)
{
    uint64_t n = 0;

    if (*field == 0)
        return 0;
    for (; *field; field++) {
        if (*field < '0' || *field > '9')
            return 0;
        n = n * 10 + (uint64_t)(*field - '0');
        if (n > UINT32_MAX)
            return 0;
    }
    *out = (uint32_t)n;
    return 1;
}

/* Reads eight hex digits. */
static int hex8(const char *field, uint32_t *out)
{
    static const char digits[] = "0123456789ABCDEFabcdef";
    uint32_t n = 0;

    if (strlen(field) != 8)
        return 0;
    for (; *field; field++) {
        const char *d = strchr(digits, *field);
        if (d == NULL)
            return 0;
        uint32_t v = (uint32_t)(d - digits);
        n = n << 4 | (v < 16 ? v : v - 6);
    }
    *out = n;
    return 1;
}

/* Reads the arguments of a command whose verb is known. */
static enum jig_code understand(const struct jig_board *b, struct jig_command *c, char *arg[], int args)
{
    static const int wanted[] = { 0, 2, 3, 2, 2, 3, 0 }; /* by verb */
    int driven = strcmp(b->excite, "drive") == 0;
    uint32_t places = c->verb == JIG_FIELD ? b->positions : b->strings;

    if ((c->verb == JIG_PLUCK && driven) || (c->verb == JIG_DRIVE && !driven) || (c->verb == JIG_FIELD && places == 0))
        return JIG_UNAVAILABLE;
    if (args != wanted[c->verb])
        return JIG_ARGUMENT;
    if (args == 0)
        return JIG_DONE;
    if (c->verb == JIG_RESEND) {
        int ok = hex8(arg[0], &c->boot) && number(arg[1], &c->from) && number(arg[2], &c->to);
        c->next = c->from;
        return ok && c->to - c->from < 0x80000000u ? JIG_DONE : JIG_ARGUMENT;
    }
    if (!number(arg[0], &c->place) || !number(arg[args - 1], &c->count) || c->place < 1 || c->place > places || c->count < 1)
        return JIG_ARGUMENT;
    if (c->verb == JIG_DRIVE && (!number(arg[1], &c->freq) || c->freq < 1))
        return JIG_ARGUMENT;
    return JIG_DONE;
}

static int waits(const struct jig *j, const struct jig_command *c)
{
    for (int i = 0; i < j->queued; i++)
        if (j->queue[i].id == c->id && (c->verb != JIG_IDENT || j->queue[i].verb == JIG_IDENT))
            return 1;
    return 0;
}

static void stop(struct jig *j, const struct jig_command *c)
{
    j->board->halt();
    for (int i = 0; i < j->queued; i++) {
        j->queue[i].gone = 0;
        finish(j, &j->queue[i], JIG_STOPPED);
    }
    j->queued = 0;
    finish(j, c, JIG_DONE);
}

/* Acts on the fields of a C line. */
static void command(struct jig *j, char *field[], int fields)
{
    static const char *const verbs[] = { "IDENT", "PLUCK", "DRIVE", "QUIET", "FIELD", "RESEND", "STOP" };
    struct jig_command c = { 0 };
    enum jig_code code = JIG_UNKNOWN;

    if (fields < 3 || strcmp(field[0], "C") != 0 || !number(field[1], &c.id))
        return; /* nobody to answer */
    for (int v = JIG_IDENT; v <= JIG_STOP; v++) {
        if (strcmp(field[2], verbs[v]) == 0) {
            c.verb = (enum jig_verb)v;
            code = understand(j->board, &c, field + 3, fields - 3);
        }
    }
    if (code == JIG_DONE && c.verb == JIG_STOP) {
        stop(j, &c);
        return;
    }
    if (code == JIG_DONE && c.verb == JIG_IDENT)
        forget_answers(j);
    if (waits(j, &c) || answer_again(j, c.id))
        return;
    if (code == JIG_DONE && j->queued == JIG_QUEUE)
        code = JIG_BUSY;
    if (code != JIG_DONE)
        finish(j, &c, code);
    else
        j->queue[j->queued++] = c;
}

/* Checks a line and cuts its body into fields. */
static void take_line(struct jig *j)
{
    char *line = j->line, *field[8], sum[9];
    size_t n = j->length;
    int fields = 1;

    if (n > 0 && line[n - 1] == '\r')
        n--;
    if (n < 9 || n > JIG_LINE || line[n - 9] != '*')
        return;
    line[n] = 0;
    snprintf(sum, sizeof sum, "%08" PRIX32, jig_crc(line, n - 9));
    if (strcmp(sum, line + n - 8) != 0)
        return;
    line[n - 9] = 0;
    field[0] = line;
    for (char *p = line; p < line + n - 9; p++) {
        if (*p < ' ' || *p > '~' || *p == '*')
            return;
        if (*p != ',')
            continue;
        if (fields == (int)(sizeof field / sizeof *field))
            return; /* no command has as many */
        *p = 0;
        field[fields++] = p + 1;
    }
    command(j, field, fields);
}

void jig_byte(struct jig *j, char c)
{
    if (c == '\n') {
        take_line(j);
        j->length = 0;
    } else if (j->length < sizeof j->line - 1) {
        j->line[j->length++] = c; /* a longer line is cut short, and fails */
    }
}

/* Working. */

static void end(struct jig *j, enum jig_code code)
{
    struct jig_command c = j->queue[0];

    j->queued--;
    memmove(j->queue, j->queue + 1, (size_t)j->queued * sizeof *j->queue);
    finish(j, &c, code);
}

/* Looks at one reading of a RESEND, so that S lines come in between. */
static void resend(struct jig *j, struct jig_command *c)
{
    int mine = c->boot == j->boot;
    int there = mine && j->seq - c->next < j->kept;
    uint32_t oldest = j->seq - j->kept + 1;
    int later = mine && j->kept > 0 && oldest - c->next <= c->to - c->next; /* some of the rest is there */

    if (there) {
        say_reading(j, &j->memory[c->next % JIG_KEEP]);
    } else if (!c->gone) {
        c->gone = 1;
        c->gone_seq = c->next;
    }
    if (there && c->next != c->to)
        c->next++;
    else if (!there && later)
        c->next = oldest;
    else
        end(j, c->gone ? JIG_UNAVAILABLE : JIG_DONE);
}

static void take(struct jig *j, struct jig_command *c)
{
    static const char modes[] = " PDQF"; /* by verb */
    struct jig_reading r = { 0 };
    int ready = j->board->take(c, &r);

    if (ready < 0)
        end(j, JIG_JAMMED);
    if (ready <= 0)
        return;
    r.seq = ++j->seq;
    r.ms = j->now;
    r.take = ++c->taken;
    r.place = c->place;
    r.mode = modes[c->verb];
    j->memory[r.seq % JIG_KEEP] = r;
    if (j->kept < JIG_KEEP)
        j->kept++;
    say_reading(j, &r);
    if (c->taken == c->count)
        end(j, JIG_DONE);
}

void jig_start(struct jig *j, const struct jig_board *board, uint32_t boot)
{
    memset(j, 0, sizeof *j);
    j->board = board;
    j->boot = boot;
    forget_answers(j);
    say_ident(j);
}

void jig_run(struct jig *j, uint32_t ms)
{
    j->now = ms;
    if (ms - j->status >= 1000) {
        j->status += 1000;
        say(j, "S,%08" PRIX32 ",%" PRIu32 ",%" PRIu32, j->boot, j->seq, ms);
    }
    if (j->queued == 0)
        return;
    struct jig_command *c = &j->queue[0];
    switch (c->verb) {
    case JIG_IDENT:
        say_ident(j);
        end(j, JIG_DONE);
        break;
    case JIG_RESEND:
        resend(j, c);
        break;
    default:
        take(j, c);
    }
}

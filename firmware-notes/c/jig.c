#include "jig.h"

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

/* A body that is being put together. */
struct body {
    char text[JIG_LINE + 1];
    size_t n;
    int full; /* it does not fit */
};

static void add_char(struct body *b, char c)
{
    if (b->n < JIG_LINE - 10) /* 160 less *, CRC and LF */
        b->text[b->n++] = c;
    else
        b->full = 1;
}

static void add(struct body *b, const char *text)
{
    while (*text)
        add_char(b, *text++);
}

static void add_number(struct body *b, uint32_t v)
{
    char digits[10];
    int n = 0;

    do {
        digits[n++] = (char)('0' + v % 10);
        v /= 10;
    } while (v > 0);
    while (n > 0)
        add_char(b, digits[--n]);
}

/* A comma and a number. */
static void next(struct body *b, uint32_t v)
{
    add_char(b, ',');
    add_number(b, v);
}

static void next_signed(struct body *b, int32_t v)
{
    add(b, v < 0 ? ",-" : ",");
    add_number(b, v < 0 ? 0u - (uint32_t)v : (uint32_t)v);
}

static void put_hex8(char *to, uint32_t v)
{
    for (int i = 7; i >= 0; i--, v >>= 4)
        to[i] = "0123456789ABCDEF"[v & 15u];
}

static void next_hex8(struct body *b, uint32_t v)
{
    char digits[9] = { 0 };

    put_hex8(digits, v);
    add_char(b, ',');
    add(b, digits);
}

/* A comma and the hex digits of a mask, without zeros ahead. */
static void next_mask(struct body *b, uint32_t v)
{
    char digits[9] = { 0 };
    int from = 0;

    put_hex8(digits, v);
    while (from < 7 && digits[from] == '0')
        from++;
    add_char(b, ',');
    add(b, digits + from);
}

static void say(struct jig *j, struct body *b)
{
    if (b->full)
        return; /* cannot be said in one line; a board with such a name needs a shorter one */
    uint32_t sum = jig_crc(b->text, b->n);
    b->text[b->n] = '*';
    put_hex8(b->text + b->n + 1, sum);
    b->text[b->n + 9] = '\n';
    j->board->send(b->text, b->n + 10);
}

static void say_ident(struct jig *j)
{
    const struct jig_board *board = j->board;
    struct body b = { .n = 0 };

    add(&b, "I,1,");
    add(&b, board->name);
    next_hex8(&b, j->boot);
    add_char(&b, ',');
    add(&b, board->firmware);
    next(&b, board->strings);
    next(&b, board->full_scale);
    add_char(&b, ',');
    add(&b, board->excite);
    say(j, &b);
}

static void say_reading(struct jig *j, const struct jig_reading *r)
{
    struct body b = { .n = 0 };

    add_char(&b, r->mode == 'F' ? 'F' : 'R');
    next_hex8(&b, j->boot);
    next(&b, r->seq);
    next(&b, r->ms);
    next(&b, r->place);
    next(&b, r->take);
    if (r->mode != 'F') {
        add_char(&b, ',');
        add_char(&b, r->mode);
    }
    next_signed(&b, r->level);
    if (r->mode != 'F') {
        next(&b, r->peak);
        next(&b, r->freq);
        next(&b, r->window);
        next_mask(&b, r->flags);
    }
    say(j, &b);
}

static void say_status(struct jig *j)
{
    struct body b = { .n = 0 };

    add_char(&b, 'S');
    next_hex8(&b, j->boot);
    next(&b, j->seq);
    next(&b, j->now);
    say(j, &b);
}

static void say_answer(struct jig *j, const struct jig_answer *a)
{
    static const char *const text[] = {
        "", "unknown command", "bad argument", "not available", "mechanical fault", "stopped", "busy"
    };
    struct body b = { .n = 0 };

    add_char(&b, a->code == JIG_DONE ? 'A' : 'E');
    next(&b, a->id);
    if (a->code != JIG_DONE) {
        next(&b, (uint32_t)a->code);
        add_char(&b, ',');
        if (a->gone) {
            add_number(&b, a->gone_seq);
            add(&b, " is gone");
        } else {
            add(&b, text[a->code]);
        }
    }
    say(j, &b);
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
    if (code == JIG_DONE && j->queued >= JIG_QUEUE && (c.verb != JIG_IDENT || j->queued == JIG_ROOM))
        code = JIG_BUSY;
    if (code != JIG_DONE)
        finish(j, &c, code);
    else
        j->queue[j->queued++] = c;
}

/* Checks a line and cuts its body into fields. */
static void take_line(struct jig *j)
{
    char *line = j->line, *field[8], sum[8];
    size_t n = j->length;
    int fields = 1;

    if (n > 0 && line[n - 1] == '\r')
        n--;
    if (n < 9 || n > JIG_LINE || line[n - 9] != '*')
        return;
    line[n] = 0;
    put_hex8(sum, jig_crc(line, n - 9));
    if (memcmp(sum, line + n - 8, sizeof sum) != 0)
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
        say_status(j);
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

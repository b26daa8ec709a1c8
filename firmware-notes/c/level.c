#include "level.h"

#include <string.h>

/* The middle of the ADC's range, to which the input is biased. */
static int32_t middle(const struct level_setup *s)
{
    return (int32_t)(s->top / 2 + 1);
}

void level_start(struct level *l, const struct level_setup *setup)
{
    memset(l, 0, sizeof *l);
    l->setup = setup;
    l->least = INT32_MAX;
    l->most = INT32_MIN;
    l->block = setup->rate / 25; /* 40 ms: more than a period of the lowest bass string */
    l->thin = setup->rate / LEVEL_THIN;
}

/* The power of a block less that of its mean, times the square of its length. */
static uint64_t power(uint32_t n, int64_t sum, uint64_t squares)
{
    return n * squares - (uint64_t)(sum * sum);
}

/* After a clean release the level only falls: a block of more than twice the power of one of
 * the two before is a second strike, unless it is next to nothing. Two, since the strike may
 * come in the middle of a block. */
static void end_block(struct level *l)
{
    uint64_t p = power(l->in_block, l->block_sum, l->block_squares);

    uint64_t least = l->blocks > 1 && l->earlier < l->before ? l->earlier : l->before;

    if (l->blocks > 0 && p / 2 > least && p > l->loudest / 4096)
        l->flags |= JIG_DOUBLE;
    if (p > l->loudest)
        l->loudest = p;
    l->earlier = l->before;
    l->before = p;
    l->blocks++;
    l->in_block = 0;
    l->block_sum = 0;
    l->block_squares = 0;
}

/* Keeps one in so many samples, as a mean over twice as many in which the middle counts
 * most: two running sums and their differences, which may overflow and come out right. */
static void thin(struct level *l, int32_t x)
{
    l->once += (uint32_t)x;
    l->twice += l->once;
    if (++l->in_thin < l->thin)
        return;
    l->in_thin = 0;
    uint32_t once = l->twice - l->last_twice;
    int32_t both = (int32_t)(once - l->last_once);
    l->last_twice = l->twice;
    l->last_once = once;
    if (l->held < LEVEL_KEEP)
        l->kept[l->held++] = (int16_t)(both / (int32_t)(l->thin * l->thin));
}

int level_sample(struct level *l, uint32_t code)
{
    const struct level_setup *s = l->setup;
    int32_t x = (int32_t)code - middle(s);

    l->stuck = code == 0 || code >= s->top ? l->stuck + 1 : 0;
    if (l->stuck >= 2)
        l->flags |= JIG_CLIPPED;
    if (l->seen++ < s->skip)
        return 0;
    if (l->n >= s->window)
        return 1;
    uint32_t square = (uint32_t)(x * x);
    l->n++;
    l->sum += x;
    l->squares += square;
    if (x < l->least)
        l->least = x;
    if (x > l->most)
        l->most = x;
    thin(l, x);
    if (s->moved) {
        l->block_sum += x;
        l->block_squares += square;
        if (++l->in_block == l->block)
            end_block(l);
    }
    return l->n == s->window;
}

/* The nearest integer to the square root. */
static uint64_t root(uint64_t v)
{
    uint64_t r = 0, bit = (uint64_t)1 << 62, rest = v;

    while (bit > v)
        bit >>= 2;
    for (; bit != 0; bit >>= 2) {
        if (rest >= r + bit) {
            rest -= r + bit;
            r = (r >> 1) + bit;
        } else {
            r >>= 1;
        }
    }
    return rest > r ? r + 1 : r;
}

/* codes / n in uV, to the nearest one. */
static uint32_t microvolts(uint64_t codes, uint32_t n, uint32_t factor)
{
    uint64_t whole = (uint64_t)n << 16;

    return (uint32_t)((codes * factor + whole / 2) / whole);
}

/* How like the samples are to themselves so many samples later: 2 sum(x y) / sum(x x + y y) of
 * P. McLeod and G. Wyvill, A smarter way to find pitch (ICMC 2005), times 32768. */
static int32_t likeness(const struct level *l, uint32_t lag, uint32_t span)
{
    int64_t both = 0, power2 = 1;

    for (uint32_t i = 0; i < span; i++) {
        int32_t x = l->kept[i], y = l->kept[i + lag];
        both += x * y;
        power2 += (int64_t)(x * x) + y * y;
    }
    return (int32_t)(both * 65536 / power2);
}

/* The top of a parabola through likenesses at lag-1, lag and lag+1, in lags times 65536. */
static uint32_t summit(uint32_t lag, int32_t a, int32_t b, int32_t c)
{
    int64_t bend = 2 * ((int64_t)a - 2 * (int64_t)b + c);

    return (lag << 16) + (bend < 0 ? (uint32_t)(((int64_t)a - c) * 65536 / bend) : 0);
}

/* How high that top is. */
static int32_t height(int32_t a, int32_t b, int32_t c)
{
    int64_t bend = 8 * (2 * (int64_t)b - a - c);

    return b + (bend > 0 ? (int32_t)(((int64_t)a - c) * ((int64_t)a - c) / bend) : 0);
}

/* The first lag at which the samples are nearly as like themselves as at any; 0: at none. */
static uint32_t first_period(const struct level *l, uint32_t span)
{
    enum { SHORTEST = 3, LONGEST = 150 }; /* 1300 to 27 Hz */
    int32_t v[LONGEST + 2], best = 0;
    uint32_t from = SHORTEST;

    for (uint32_t lag = SHORTEST - 1; lag <= LONGEST + 1; lag++)
        v[lag] = likeness(l, lag, span);
    while (from <= LONGEST && v[from] > 0 && v[from] <= v[from - 1])
        from++; /* down from the likeness at no lag */
    for (uint32_t lag = from; lag <= LONGEST; lag++)
        if (v[lag] >= v[lag - 1] && v[lag] >= v[lag + 1] && height(v[lag - 1], v[lag], v[lag + 1]) > best)
            best = height(v[lag - 1], v[lag], v[lag + 1]);
    if (best < 16384) /* a half */
        return 0;
    for (uint32_t lag = from; lag <= LONGEST; lag++)
        if (v[lag] >= v[lag - 1] && v[lag] >= v[lag + 1] && height(v[lag - 1], v[lag], v[lag + 1]) >= best - best / 5)
            return summit(lag, v[lag - 1], v[lag], v[lag + 1]);
    return 0;
}

/* The fundamental in mHz, 0 when there is none. A period that was found is looked for again
 * after 2, 4, 8, ... of them, each time twice as exactly. */
static uint32_t fundamental(struct level *l)
{
    enum { SPAN = 512, ROOM = 160 };
    int64_t sum = 0;
    uint32_t half = l->held / 2, period, times = 1;

    if (l->held < SPAN + ROOM)
        return 0;
    for (uint32_t i = 0; i < l->held; i++)
        sum += l->kept[i];
    for (uint32_t i = 0; i < l->held; i++) {
        int32_t x = l->kept[i] - (int32_t)(sum / (int32_t)l->held);
        l->kept[i] = (int16_t)(x > INT16_MAX ? INT16_MAX : x < INT16_MIN ? INT16_MIN : x);
    }
    period = first_period(l, SPAN);
    if (period == 0)
        return 0;
    for (;;) {
        uint64_t next = (uint64_t)period * times * 2 + 32768;
        uint32_t lag = (uint32_t)(next >> 16);
        if (lag + 3 > half)
            break;
        times *= 2;
        int32_t a = likeness(l, lag - 1, half), b = likeness(l, lag, half), c = likeness(l, lag + 1, half);
        if (c > b && c > a) {
            a = b, b = c, c = likeness(l, ++lag + 1, half);
        } else if (a > b) {
            c = b, b = a, a = likeness(l, --lag - 1, half);
        }
        if (b < a || b < c || b < 8192)
            break; /* no longer the same wave */
        period = summit(lag, a, b, c) / times;
    }
    return (uint32_t)(((uint64_t)l->setup->rate * 1000 << 16) / ((uint64_t)l->thin * period));
}

/* The largest magnitude once the mean is taken off, times n. */
static uint64_t peak(const struct level *l)
{
    int64_t up = (int64_t)l->most * l->n - l->sum, down = l->sum - (int64_t)l->least * l->n;

    return (uint64_t)(up > down ? up : down);
}

/* Whether a magnitude is above 98 % of the range on either side of the middle. */
static int near_the_end(const struct level *l)
{
    int32_t limit = middle(l->setup) / 50 * 49;

    return l->most > limit || l->least < -limit;
}

void level_finish(struct level *l, struct jig_reading *r)
{
    const struct level_setup *s = l->setup;

    r->flags = l->flags;
    r->level = 0;
    r->peak = r->freq = 0;
    r->window = (uint32_t)(((uint64_t)l->n * 1000 + s->rate / 2) / s->rate);
    if (l->n < s->window)
        r->flags |= JIG_SHORT;
    if (l->n == 0)
        return;
    if (near_the_end(l))
        r->flags |= JIG_CLIPPED;
    r->level = (int32_t)microvolts(root(power(l->n, l->sum, l->squares)), l->n, s->factor);
    r->peak = microvolts(peak(l), l->n, s->factor);
    r->freq = fundamental(l);
}

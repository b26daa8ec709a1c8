/* The jig's side of the line protocol, version 1, in portable C99: no heap, no
 * operating system, some 11 kB of memory. See ../README.md. */
#ifndef JIG_H
#define JIG_H

#include <stddef.h>
#include <stdint.h>

enum {
    JIG_LINE = 160,   /* longest line in bytes */
    JIG_KEEP = 256,   /* readings kept for RESEND; a power of two, so that seq may wrap */
    JIG_QUEUE = 5,    /* one command that runs and four that wait, */
    JIG_ROOM = 7,     /* and what IDENT has beside that */
    JIG_ANSWERS = 16  /* answers remembered */
};

/* Flags of a reading. */
enum { JIG_CLIPPED = 1, JIG_DOUBLE = 2, JIG_SHORT = 4, JIG_FAULT = 8 };

/* Codes of an E line; 0 is A. */
enum jig_code { JIG_DONE, JIG_UNKNOWN, JIG_ARGUMENT, JIG_UNAVAILABLE, JIG_JAMMED, JIG_STOPPED, JIG_BUSY };

enum jig_verb { JIG_IDENT, JIG_PLUCK, JIG_DRIVE, JIG_QUIET, JIG_FIELD, JIG_RESEND, JIG_STOP };

struct jig_command {
    uint32_t id;
    enum jig_verb verb;
    uint32_t place;     /* string or probe position */
    uint32_t freq;      /* mHz, for DRIVE */
    uint32_t count;     /* takes wanted */
    uint32_t taken;     /* takes made */
    uint32_t boot, from, to, next; /* for RESEND; next is the one to look at */
    int gone;           /* for RESEND: a reading is gone, */
    uint32_t gone_seq;  /* this one */
};

struct jig_reading {
    uint32_t seq, ms, take;
    uint32_t place;     /* string or probe position */
    char mode;          /* P, D, Q; F for a field reading */
    int32_t level;      /* uV RMS; uT for a field reading */
    uint32_t peak;      /* uV */
    uint32_t freq;      /* mHz */
    uint32_t window;    /* ms */
    uint32_t flags;
};

struct jig_answer {
    uint32_t id;
    int code;           /* enum jig_code, or -1 for an empty place */
    int gone;
    uint32_t gone_seq;
};

/* What a board does for the protocol. None of it may block for long. */
struct jig_board {
    const char *name, *firmware, *excite;
    unsigned strings, positions; /* 0 positions: no probe */
    uint32_t full_scale;         /* uV, peak */
    void (*send)(const char *line, size_t n);
    /* Goes on with the next take of a command: 0 not ready yet, 1 ready and
     * level, peak, freq, window and flags of r are set, -1 jammed. */
    int (*take)(const struct jig_command *c, struct jig_reading *r);
    void (*halt)(void);          /* all that moves stops */
};

struct jig {
    const struct jig_board *board;
    uint32_t boot, seq, kept, now, status;
    struct jig_reading memory[JIG_KEEP];    /* by seq */
    struct jig_command queue[JIG_ROOM];    /* the first one runs */
    int queued;
    struct jig_answer answers[JIG_ANSWERS]; /* a ring */
    int answered;
    char line[JIG_LINE + 2];
    size_t length;
};

/* Starts at power-up with a boot number that was never used before. */
void jig_start(struct jig *j, const struct jig_board *board, uint32_t boot);

/* Takes a byte that came over the port. */
void jig_byte(struct jig *j, char c);

/* Does what is due; to be called over and over. ms since power-up, may wrap. */
void jig_run(struct jig *j, uint32_t ms);

/* CRC-32/ISO-HDLC of n bytes. */
uint32_t jig_crc(const char *p, size_t n);

#endif

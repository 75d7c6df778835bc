/* The kernel: one channel followed from event to event, and channels mixed.
 *
 * Stage: engine, the fast one. The twin in Python (track.py, slow.py, stepping.py, countdown.py, mixing.py beside this
 * folder) does the same and says more about why; the law of both is the numbered list in psgmodel/engine/__init__.py.
 * Edge numbers are clock cycles, at most 2^62; what lies beyond is NEVER. All whole numbers are int64 and never wrap
 * around: products that could are made in 128 bits or held at NEVER.
 */
#ifndef KERNEL_H
#define KERNEL_H

#include <stdint.h>

#include "layout.h"

typedef int64_t i64;
typedef uint64_t u64;
typedef __int128 i128;

#define NEVER INT64_MAX
enum { MOST_POSITIONS = 4096 };

/* ---- signal.c: a list of changes that grows ---- */

struct signal {
    i64 *cycle;
    int32_t *level;
    i64 size, room;
    int failed; /* memory ran out; nothing more is kept */
};

int signal_reserve(struct signal *s, i64 more);
void signal_free(struct signal *s);

/* Append a change; one that changes nothing is left out. */
static inline void signal_put(struct signal *s, i64 cycle, i64 level)
{
    if (s->size && s->level[s->size - 1] == (int32_t)level)
        return;
    if (s->size == s->room && !signal_reserve(s, 1))
        return;
    s->cycle[s->size] = cycle;
    s->level[s->size++] = (int32_t)level;
}

/* ---- ticks.c: tick trains ---- */

struct train {
    i64 every, turn, places, epochs;
    const i64 *place, *epoch; /* place: cycles from step 0 of a turn to each tick of it, rising */
    i64 *before;              /* ticks of the whole train before each epoch begins */
};

int train_set(struct train *t, const i64 *columns, const i64 *places, const i64 *epochs);
int train_at(const struct train *t, i64 edge);
i64 train_between(const struct train *t, i64 after, i64 up_to);
i64 train_nth_after(const struct train *t, i64 edge, i64 n);
i64 held_sum(i64 a, i64 b);
i64 held_product(i64 a, i64 b);

/* ---- what a channel is: unchanged while it is followed ---- */

struct channel {
    const i64 *o, *patterns, *volume_table, *divisors, *reset_fields;
    i64 volumes; /* entries of volume_table; 0: the volume is the loudness */
    const i64 *actions, *parts;
    i64 action_count;
    struct train train[TRAINS];
};

/* An edge that is looked at: fields before and after its writes, those that a start sees, bits written by field. */
struct look {
    i64 edge;
    int start, active;
    const i64 *old, *new, *seen, *written;
};

/* The writes of one edge, as a range of the unit's events; those before `samples` no longer count for the memory. */
struct batch {
    const i64 *address, *value;
    i64 samples, end;
    int stores, passes; /* some of them go to the channel's memory; a stretch must end here anyway */
};

/* ---- slow.c: note timer, envelope, sweep ---- */

struct timer {
    i64 count, synced, at;
};
struct fade {
    i64 level, count, synced, at;
};
struct glide {
    i64 count, shadow, synced, at;
    int fell;
};

void timer_catch_up(struct timer *b, const struct channel *c, i64 last, const i64 *f);
void timer_plan(struct timer *b, const struct channel *c, const i64 *f);
int timer_edge(struct timer *b, const struct channel *c, const struct look *e);
void fade_catch_up(struct fade *b, const struct channel *c, i64 last, const i64 *f);
void fade_plan(struct fade *b, const struct channel *c, const i64 *f);
int fade_edge(struct fade *b, const struct channel *c, const struct look *e);
void glide_catch_up(struct glide *b, const struct channel *c, i64 last, const i64 *f);
void glide_plan(struct glide *b, const struct channel *c, const i64 *f);
int glide_edge(struct glide *b, const struct channel *c, const struct look *e, i64 *period);

/* ---- shift.c: noise registers ---- */

enum { SHIFTS_AT_ONCE = 32, MOST_SQUARES = 62 };

/* The shift of a register in one mode. A shift is an affine map over GF(2) (Golomb, Shift Register Sequences, 1967):
 * `many` has, for each byte of the contents, the contents 32 shifts later in its low half and in its high half the
 * output bits after 1, 2, ... 32 shifts, the first in the lowest bit; exclusive or over the bytes joins them. */
struct shift {
    u64 taps, places, full;
    int bits, output, left, inverted, ready, squares;
    u64 many[4][256];
    u64 square[MOST_SQUARES][33]; /* 2^k shifts as columns; column `bits` is the constant */
};

void shift_set(struct shift *s, const i64 *o, int is_short);
u64 shift_once(const struct shift *s, u64 contents);
u64 shift_many(struct shift *s, u64 contents, u64 *outputs);
u64 shift_jump(struct shift *s, u64 contents, i64 shifts);

/* ---- stepping.c and waveform.c: what steps through the waveform ---- */

/* Invariant: `out` tells what sounded before edge `stretch`; counter and position stand as after edge `now`; from there
 * on, where `runs`, steps are made at `first` and every `length` counts after it, until `step_flush` closes the
 * stretch, at the latest at `ends_at`, where a wave that ends goes past its last sample. */
struct stepping {
    const struct channel *c;
    const struct train *clock; /* NULL: every cycle counts */
    struct signal out;
    i64 begin, now, stretch, first, length, ends_at, size;
    i64 count, position, sample, volume, pattern;
    i64 made; /* steps that were made so far */
    int active, runs, down, one_shot, short_mode;
    i64 *memory;
    u64 contents;
    struct shift shift[2];
    i64 level[MOST_POSITIONS], changed[MOST_POSITIONS]; /* scratch of waveform.c */
};

/* Where the step counter stands just before an edge, if nothing comes between, and the steps made up to there. */
struct stood {
    i64 steps, count, position;
};

i64 step_length(const struct channel *c, const i64 *f);
int step_stopped(const struct channel *c, const i64 *f);
struct stood step_before(const struct stepping *s, i64 edge);
/* Whether a wave that ends goes past its last sample at an edge, if nothing comes between. */
int step_ends(const struct stepping *s, i64 edge);
void step_resume(struct stepping *s, int active, i64 volume, const i64 *f);
void step_flush(struct stepping *s, i64 edge);
int step_edge(struct stepping *s, const struct look *e, const struct batch *writes);
void step_store(struct stepping *s, const struct batch *writes, int playing, i64 position);
void play_stretch(struct stepping *s, i64 steps, i64 spread);

/* ---- watch.c: a row for each edge that is looked at ---- */

/* What an edge did, as far as the state does not tell. */
struct did {
    int start, stop, asked_start, asked_stop, cleared, quiet, ran_out, faded, over;
    i64 swept, wrote;
};

/* Rows, column by column. The row of an edge is begun before it and ended after it. */
struct watch {
    i64 *column[ROW_COLUMNS + 2 * FIELDS]; /* of fields that are not shown: NULL */
    i64 size, room;
    i64 made; /* `made` of the stepping after the last row */
    int failed;
    struct did did;
};

/* ---- track.c and edges.c: one channel ---- */

struct track {
    const struct channel *c;
    struct stepping steps;
    struct timer timer;
    struct fade fade;
    struct glide glide;
    int has_timer, has_fade, has_glide, active;
    struct signal activity;
    u64 starts, stops; /* strobes on their way: bit i acts at edge `anchor` + i */
    i64 anchor, next_act;
    i64 field[2][FIELDS], written[FIELDS];
    int now_in; /* which of `field` holds the fields as they are */
    int shows;  /* the edge that is looked at has a row */
    struct watch watch;
};

void watch_pass(struct track *t, i64 edge);
void watch_begin(struct track *t, i64 edge);
void watch_wrote(struct track *t, const i64 *new);
void watch_end(struct track *t, i64 edge, const struct batch *writes);
void watch_free(struct watch *w);

const i64 *action_at(const struct channel *c, i64 address);
void track_advance(struct track *t, i64 edge);
void track_load(struct track *t, const i64 *state);
void track_resume(struct track *t, const i64 *f);
void track_plan(struct track *t, const i64 *f);
void track_edge(struct track *t, i64 edge, struct batch *writes);
void track_run(struct track *t, const i64 *const *in, const i64 *sizes);

#endif

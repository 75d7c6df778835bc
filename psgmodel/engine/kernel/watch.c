/* Watch: a row for each edge that is looked at, for those who ask what happened; equals following.py in
 * psgmodel/coverage.
 *
 * A channel that is watched has every block look at every edge of its events, and its envelope also where it stands at
 * its end. A row is begun with what stands before the edge and ended with what stands after it; what passes up to the
 * next row is counted when that is begun.
 */
#include <stdlib.h>

#include "kernel.h"

enum { FIRST_ROOM = 256 };

static int shown(const struct channel *c, int field)
{
    return (int)(c->o[O_SHOWN] >> field & 1);
}

/* Make room for one more row. */
static int reserve(struct watch *w, const struct channel *c)
{
    if (w->size < w->room)
        return 1;
    i64 room = w->room ? 2 * w->room : FIRST_ROOM;
    for (int i = 0; i < ROW_COLUMNS + 2 * FIELDS && !w->failed; i++) {
        if (i >= ROW_COLUMNS && !shown(c, (i - ROW_COLUMNS) % FIELDS))
            continue;
        i64 *column = realloc(w->column[i], (size_t)room * sizeof *column);
        if (column)
            w->column[i] = column;
        else
            w->failed = 1;
    }
    w->room = w->failed ? w->room : room;
    return !w->failed;
}

void watch_free(struct watch *w)
{
    for (int i = 0; i < ROW_COLUMNS + 2 * FIELDS; i++) {
        free(w->column[i]);
        w->column[i] = NULL;
    }
}

static i64 ticks_between(const struct train *train, i64 after, i64 last)
{
    return train->places ? train_between(train, after, last) : 0;
}

/* Note what passed between the last row and an edge. */
void watch_pass(struct track *t, i64 edge)
{
    struct watch *w = &t->watch;
    i64 row = w->size - 1, last = edge - 1;
    if (row < 0)
        return;
    i64 after = w->column[R_EDGE][row];
    int passed = t->active && last > after;
    const struct train *train = t->c->train;
    w->column[R_STEPS][row] = step_before(&t->steps, edge).steps + t->steps.made - w->made;
    w->column[R_TIMER_TICKS][row] = passed ? ticks_between(&train[TRAIN_TIMER], after, last) : 0;
    w->column[R_FADE_TICKS][row] = passed ? ticks_between(&train[TRAIN_ENVELOPE], after, last) : 0;
    w->column[R_GLIDE_TICKS][row] = passed ? ticks_between(&train[TRAIN_SWEEP], after, last) : 0;
}

/* Note the fields, from a given column on. */
static void put_fields(struct watch *w, const struct channel *c, int first, const i64 *f)
{
    for (int i = 0; i < FIELDS; i++)
        if (shown(c, i))
            w->column[first + i][w->size] = f[i];
}

/* Begin the row of an edge; the blocks count what has passed. */
void watch_begin(struct track *t, i64 edge)
{
    struct watch *w = &t->watch;
    struct stepping *s = &t->steps;
    const struct channel *c = t->c;
    const i64 *f = t->field[t->now_in], *o = c->o;
    t->shows = reserve(w, c);
    if (!t->shows)
        return;
    watch_pass(t, edge);
    if (t->active && t->has_timer)
        timer_catch_up(&t->timer, c, edge - 1, f);
    if (t->active && t->has_fade)
        fade_catch_up(&t->fade, c, edge - 1, f);
    if (t->active && t->has_glide)
        glide_catch_up(&t->glide, c, edge - 1, f);
    track_advance(t, edge);
    struct stood at = step_before(s, edge);
    int wave = o[O_KIND] == KIND_WAVE;
    const i64 number[][2] = {
        {R_EDGE, edge},
        {R_FLAGS, (i64)t->active << FLAG_ACTIVE | (i64)t->glide.fell << FLAG_FELL},
        {R_LINE_BEFORE, (i64)(t->starts | t->stops)},
        {R_TIMER, t->timer.count},
        {R_LEVEL, t->fade.level},
        {R_FADE_COUNT, t->fade.count},
        {R_GLIDE_COUNT, t->glide.count},
        {R_SHADOW, t->glide.shadow},
        {R_COUNT, at.count},
        {R_LENGTH, step_stopped(c, f) ? -1 : step_length(c, f)},
        {R_POSITION, s->size ? at.position : 0},
        {R_SAMPLE, wave && at.steps ? s->memory[at.position] : s->sample},
        {R_FRESH, wave ? s->memory[o[O_TABLE_START_POSITION]] : 0},
    };
    for (unsigned i = 0; i < sizeof number / sizeof *number; i++)
        w->column[number[i][0]][w->size] = number[i][1];
    put_fields(w, c, ROW_COLUMNS, f);
    w->made = s->made + at.steps; /* a step at the edge itself tells by this */
}

/* Note the fields as the writes of the edge left them. */
void watch_wrote(struct track *t, const i64 *new)
{
    if (t->shows)
        put_fields(&t->watch, t->c, ROW_COLUMNS + FIELDS, new);
}

static int ticks_at(const struct train *train, i64 edge)
{
    return train->places && train_at(train, edge);
}

static i64 flags_of(const struct track *t, i64 edge)
{
    const struct did *d = &t->watch.did;
    const struct train *train = t->c->train;
    int ticks = !d->cleared;
    return (i64)d->start << FLAG_START | (i64)(d->stop && !d->start) << FLAG_STOP |
           (i64)(d->start && d->stop) << FLAG_MET | (i64)d->asked_start << FLAG_ASKED_START |
           (i64)d->asked_stop << FLAG_ASKED_STOP | (i64)t->active << FLAG_AFTER | (i64)d->cleared << FLAG_CLEARED |
           (i64)d->quiet << FLAG_QUIET | (i64)(ticks && ticks_at(&train[TRAIN_TIMER], edge)) << FLAG_TIMER_TICK |
           (i64)(ticks && ticks_at(&train[TRAIN_ENVELOPE], edge)) << FLAG_FADE_TICK |
           (i64)(ticks && ticks_at(&train[TRAIN_SWEEP], edge)) << FLAG_GLIDE_TICK |
           (i64)(t->steps.clock ? ticks && train_at(t->steps.clock, edge) : 1) << FLAG_CLOCK_TICK |
           (i64)d->ran_out << FLAG_RAN_OUT | (i64)d->faded << FLAG_FADED | (i64)d->over << FLAG_OVER |
           (i64)(t->steps.made > t->watch.made) << FLAG_ADVANCED;
}

/* End the row of an edge. */
void watch_end(struct track *t, i64 edge, const struct batch *writes)
{
    struct watch *w = &t->watch;
    const struct stepping *s = &t->steps;
    const i64 *o = t->c->o;
    i64 stored = 0, address = -1;
    if (!t->shows)
        return;
    t->shows = 0;
    for (i64 i = writes->samples; writes->stores && i < writes->end; i++) {
        i64 index = writes->address[i] - o[O_MEMORY_ADDRESS];
        if (0 <= index && index < o[O_MEMORY_SIZE]) {
            stored++;
            address = index;
        }
    }
    const i64 number[][2] = {
        {R_WROTE, w->did.wrote},
        {R_TIMER_AFTER, t->timer.count},
        {R_LEVEL_AFTER, t->fade.level},
        {R_FADE_COUNT_AFTER, t->fade.count},
        {R_GLIDE_COUNT_AFTER, t->glide.count},
        {R_SHADOW_AFTER, t->glide.shadow},
        {R_SWEPT, w->did.swept},
        {R_POSITION_AFTER, s->size ? s->position : 0},
        {R_SAMPLE_AFTER, s->sample},
        {R_SAMPLES_WRITTEN, stored},
        {R_SAMPLE_ADDRESS, address},
    };
    for (unsigned i = 0; i < sizeof number / sizeof *number; i++)
        w->column[number[i][0]][w->size] = number[i][1];
    w->column[R_FLAGS][w->size] |= flags_of(t, edge);
    w->made = s->made;
    w->size++;
}

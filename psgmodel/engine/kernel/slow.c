/* Slow: note timer, envelope and sweep; equals slow.py.
 *
 * A block is looked at only where it acts by itself or where a write or strobe concerns it. Each has `synced` (the edge
 * up to which it has counted ticks), `catch_up` (counts what has passed since), `edge` (what it does at an edge that is
 * looked at), and `plan` (sets `at`, the next edge at which it will act by itself).
 */
#include "kernel.h"

/* A block counter after some ticks: it acts at the tick that finds it 0 or 1, and reloads there. */
static i64 counted_down(i64 count, i64 ticks, i64 reload)
{
    if (ticks == 0)
        return count;
    i64 turn = count > 1 ? count : 1;
    return ticks < turn ? turn - ticks : reload - (ticks - turn) % reload;
}

/* ---- note timer ---- */

static i64 timer_wrapped(const struct channel *c, i64 count)
{
    return count & ((INT64_C(1) << c->o[O_TIMER_BITS]) - 1);
}

/* Count the ticks after `synced` up to edge `last` in an active channel; the timer does not run out. */
void timer_catch_up(struct timer *b, const struct channel *c, i64 last, const i64 *f)
{
    if (f[F_TIMER_ENABLE])
        b->count = timer_wrapped(c, b->count - train_between(&c->train[TRAIN_TIMER], b->synced, last));
    b->synced = last;
}

/* Set the edge at which it runs out, if nothing comes between. */
void timer_plan(struct timer *b, const struct channel *c, const i64 *f)
{
    b->at = NEVER;
    if (f[F_TIMER_ENABLE] && c->o[O_TIMER_AT_ZERO] == TIMER_AT_ZERO_STOP) {
        i64 ticks = b->count ? b->count : INT64_C(1) << c->o[O_TIMER_BITS];
        b->at = train_nth_after(&c->train[TRAIN_TIMER], b->synced, ticks);
    }
}

/* Return whether the timer has run out in a way that stops the channel. */
int timer_edge(struct timer *b, const struct channel *c, const struct look *e)
{
    const i64 *o = c->o;
    i64 enable = (o[O_TIMER_WRITE_AND_TICK] == TIMER_WRITE_AND_TICK_NEW ? e->new : e->old)[F_TIMER_ENABLE];
    int tick = enable == 1 && train_at(&c->train[TRAIN_TIMER], e->edge);
    int counts = tick && e->active;
    if (e->start && !(counts && o[O_TIMER_START_AND_TICK] == TIMER_START_AND_TICK_TICK)) {
        if (o[O_TIMER_ON_START] == TIMER_ON_START_ALWAYS || b->count == 0) {
            i64 length = e->seen[F_TIMER_LENGTH];
            b->count = o[O_TIMER_LOADS] == TIMER_LOADS_FIELD ? length : timer_wrapped(c, -length);
        }
        counts = tick && o[O_TIMER_START_AND_TICK] == TIMER_START_AND_TICK_BOTH;
    } else if (!e->start && e->active && o[O_TIMER_ON_ENABLE] == TIMER_ON_ENABLE_TICK &&
               e->new[F_TIMER_ENABLE] > e->old[F_TIMER_ENABLE]) {
        counts = 1;
    }
    if (counts)
        b->count = timer_wrapped(c, b->count - 1);
    return counts && b->count == 0 && o[O_TIMER_AT_ZERO] == TIMER_AT_ZERO_STOP;
}

/* ---- envelope ---- */

/* Ticks from one step of the level to the next; 0: it stands still. */
static i64 fade_ticks(const struct channel *c, const i64 *f)
{
    if (f[F_ENVELOPE_PERIOD] || c->o[O_ENVELOPE_PERIOD_ZERO] == ENVELOPE_PERIOD_ZERO_STOP)
        return f[F_ENVELOPE_PERIOD];
    return INT64_C(1) << c->o[O_ENVELOPE_PERIOD_BITS];
}

/* Count the ticks after `synced` up to edge `last` in an active channel; the level does not move. */
void fade_catch_up(struct fade *b, const struct channel *c, i64 last, const i64 *f)
{
    i64 reload = fade_ticks(c, f);
    if (reload)
        b->count = counted_down(b->count, train_between(&c->train[TRAIN_ENVELOPE], b->synced, last), reload);
    b->synced = last;
}

/* Set the edge at which the level moves next, if nothing comes between. */
void fade_plan(struct fade *b, const struct channel *c, const i64 *f)
{
    const i64 *o = c->o;
    i64 last = f[F_ENVELOPE_RISING] ? (INT64_C(1) << o[O_VOLUME_BITS]) - 1 : 0;
    int moves = o[O_ENVELOPE_AT_END] == ENVELOPE_AT_END_WRAP || o[O_ENVELOPE_AT_ZERO] == ENVELOPE_AT_ZERO_STOP;
    b->at = NEVER;
    if ((moves || o[O_WATCHED] || b->level != last) && fade_ticks(c, f))
        b->at = train_nth_after(&c->train[TRAIN_ENVELOPE], b->synced, b->count > 1 ? b->count : 1);
}

/* Move the level by one step. */
static i64 fade_moved(const struct channel *c, i64 level, const i64 *f)
{
    i64 largest = (INT64_C(1) << c->o[O_VOLUME_BITS]) - 1;
    i64 moved = level + (f[F_ENVELOPE_RISING] ? c->o[O_ENVELOPE_STEP] : -c->o[O_ENVELOPE_STEP]);
    if (c->o[O_ENVELOPE_AT_END] == ENVELOPE_AT_END_WRAP)
        return moved & largest;
    return moved < 0 ? 0 : moved > largest ? largest : moved;
}

/* Return whether the envelope stops the channel. */
int fade_edge(struct fade *b, const struct channel *c, const struct look *e)
{
    const i64 *o = c->o;
    const i64 *f = o[O_ENVELOPE_WRITE_AND_TICK] == ENVELOPE_WRITE_AND_TICK_NEW ? e->new : e->old;
    int tick = train_at(&c->train[TRAIN_ENVELOPE], e->edge);
    int counts = tick && e->active;
    int direct = o[O_ENVELOPE_VOLUME_WRITE] == ENVELOPE_VOLUME_WRITE_AT_ONCE && !e->start && e->active &&
                 e->written[F_VOLUME];
    if (e->start && !(counts && o[O_ENVELOPE_START_AND_TICK] == ENVELOPE_START_AND_TICK_TICK)) {
        b->level = e->seen[F_VOLUME];
        b->count = fade_ticks(c, e->seen);
        counts = tick && o[O_ENVELOPE_START_AND_TICK] == ENVELOPE_START_AND_TICK_BOTH;
    }
    if (direct && (!counts || o[O_ENVELOPE_VOLUME_AND_TICK] == ENVELOPE_VOLUME_AND_TICK_BOTH))
        b->level = e->new[F_VOLUME];
    i64 reload = fade_ticks(c, f);
    int stepped = counts && reload > 0 && b->count <= 1;
    if (counts && reload)
        b->count = stepped ? reload : b->count - 1;
    if (stepped)
        b->level = fade_moved(c, b->level, f);
    if (direct && counts && o[O_ENVELOPE_VOLUME_AND_TICK] == ENVELOPE_VOLUME_AND_TICK_WRITE)
        b->level = e->new[F_VOLUME];
    return stepped && !e->start && b->level == 0 && o[O_ENVELOPE_AT_ZERO] == ENVELOPE_AT_ZERO_STOP;
}

/* ---- sweep ---- */

/* Ticks from one sweep step to the next; 0: it stands still. */
static i64 glide_ticks(const struct channel *c, const i64 *f)
{
    if (f[F_SWEEP_PERIOD] || c->o[O_SWEEP_PERIOD_ZERO] == SWEEP_PERIOD_ZERO_STOP)
        return f[F_SWEEP_PERIOD];
    return INT64_C(1) << c->o[O_SWEEP_PERIOD_BITS];
}

/* Count the ticks after `synced` up to edge `last` in an active channel; no step is made. */
void glide_catch_up(struct glide *b, const struct channel *c, i64 last, const i64 *f)
{
    i64 reload = glide_ticks(c, f);
    if (reload)
        b->count = counted_down(b->count, train_between(&c->train[TRAIN_SWEEP], b->synced, last), reload);
    b->synced = last;
}

/* Set the edge of the next sweep step, if nothing comes between. */
void glide_plan(struct glide *b, const struct channel *c, const i64 *f)
{
    b->at = NEVER;
    if (glide_ticks(c, f))
        b->at = train_nth_after(&c->train[TRAIN_SWEEP], b->synced, b->count > 1 ? b->count : 1);
}

/* The swept period; less than 0, or more than the field holds, where it does not fit. */
static i64 glide_next(const struct channel *c, i64 period, const i64 *f)
{
    const i64 *o = c->o;
    int constant = o[O_SWEEP_MOVES_BY] == SWEEP_MOVES_BY_CONSTANT;
    i64 shift = f[F_SWEEP_SHIFT];
    i64 part = constant ? shift : shift > 62 ? 0 : period >> shift;
    if (f[F_SWEEP_FALLING] == 0)
        return period + part;
    i64 result = period - part - (o[O_SWEEP_SUBTRACT] == SWEEP_SUBTRACT_ONES_COMPLEMENT);
    return constant ? result : result & ((INT64_C(1) << o[O_STEP_BITS]) - 1);
}

static int glide_fits(const struct channel *c, i64 period)
{
    return 0 <= period && period < INT64_C(1) << c->o[O_STEP_BITS];
}

static int glide_stops(const struct channel *c, i64 period, const i64 *f)
{
    return c->o[O_SWEEP_OVERFLOW] == SWEEP_OVERFLOW_STOP && !glide_fits(c, glide_next(c, period, f));
}

/* Make a sweep step; `period` becomes its result where it makes one. Return whether the sweep stops the channel. */
static int glide_step(struct glide *b, const struct channel *c, const struct look *e, const i64 *f, i64 *period)
{
    const i64 *o = c->o;
    i64 from = o[O_SWEEP_WORKS_ON] == SWEEP_WORKS_ON_SHADOW ? b->shadow : e->old[F_PERIOD];
    i64 result = glide_next(c, from, f);
    if (!glide_fits(c, result) && o[O_SWEEP_OVERFLOW] != SWEEP_OVERFLOW_WRAP)
        return o[O_SWEEP_OVERFLOW] == SWEEP_OVERFLOW_STOP;
    b->shadow = result & ((INT64_C(1) << o[O_STEP_BITS]) - 1);
    b->fell = b->fell || f[F_SWEEP_FALLING] == 1;
    *period = b->shadow;
    return o[O_SWEEP_CHECK] == SWEEP_CHECK_AFTER_STEP_TOO && glide_stops(c, b->shadow, f);
}

/* Return whether the sweep stops the channel; `period` becomes the new one, if a step makes one. */
int glide_edge(struct glide *b, const struct channel *c, const struct look *e, i64 *period)
{
    const i64 *o = c->o;
    const i64 *f = o[O_SWEEP_WRITE_AND_TICK] == SWEEP_WRITE_AND_TICK_NEW ? e->new : e->old;
    int tick = train_at(&c->train[TRAIN_SWEEP], e->edge);
    int counts = tick && e->active;
    int stops = 0;
    if (e->start) {
        if (!(counts && o[O_SWEEP_START_AND_TICK] == SWEEP_START_AND_TICK_TICK)) {
            b->count = glide_ticks(c, e->seen);
            b->shadow = e->seen[F_PERIOD];
            b->fell = 0;
            counts = tick && o[O_SWEEP_START_AND_TICK] == SWEEP_START_AND_TICK_BOTH;
        }
        if (o[O_SWEEP_CHECK] != SWEEP_CHECK_AT_STEP && e->seen[F_SWEEP_SHIFT])
            stops = glide_stops(c, e->seen[F_PERIOD], e->seen);
    } else if (o[O_SWEEP_RISING_AFTER_FALLING] == SWEEP_RISING_AFTER_FALLING_STOP && b->fell && e->active) {
        stops = e->new[F_SWEEP_FALLING] < e->old[F_SWEEP_FALLING];
    }
    i64 reload = glide_ticks(c, f);
    if (!counts || !reload)
        return stops;
    if (b->count > 1) {
        b->count--;
        return stops;
    }
    b->count = reload;
    return glide_step(b, c, e, f, period) || stops;
}

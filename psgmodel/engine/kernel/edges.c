/* Edges: what a channel does at an edge that is looked at; equals track.py. The numbers are those of the list in
 * psgmodel/engine/__init__.py. */
#include <string.h>

#include "kernel.h"

/* What the writes of an edge have done. */
struct applied {
    int touches, cleared, with_memory;
};

/* Let the delay lines begin at an edge; what lies before it has acted. */
void track_advance(struct track *t, i64 edge)
{
    i64 by = edge - t->anchor;
    t->starts = by < 64 ? t->starts >> by : 0;
    t->stops = by < 64 ? t->stops >> by : 0;
    t->anchor = edge;
}

/* Let a strobe into its delay line. */
static void ask(struct track *t, int start)
{
    u64 entry = (u64)1 << t->c->o[O_START_DELAY];
    *(start ? &t->starts : &t->stops) |= entry;
    *(start ? &t->watch.did.asked_start : &t->watch.did.asked_stop) = 1;
}

/* Do what one write does to fields and delay lines (2). */
static void apply_write(struct track *t, i64 *new, i64 address, i64 value, struct applied *done)
{
    const i64 *action = action_at(t->c, address & ~QUIET);
    if (!action)
        return;
    struct did *did = &t->watch.did;
    done->touches |= (int)action[A_TOUCHES];
    did->quiet = (address & QUIET) != 0;
    const i64 *part = t->c->parts + action[A_FIRST_PART] * PART_COLUMNS;
    for (i64 i = 0; i < action[A_PARTS]; i++, part += PART_COLUMNS) {
        i64 mask = part[P_MASK] << part[P_FIELD_LOW], bits = value >> part[P_LOW] & part[P_MASK];
        new[part[P_FIELD]] = (new[part[P_FIELD]] & ~mask) | bits << part[P_FIELD_LOW];
        t->written[part[P_FIELD]] |= mask;
    }
    if (address & QUIET)
        return;
    did->wrote |= INT64_C(1) << (action - t->c->actions) / ACTION_COLUMNS;
    if (value & action[A_STARTS] || action[A_ALWAYS] & 1)
        ask(t, 1);
    if (value & action[A_STOPS] || action[A_ALWAYS] & 2)
        ask(t, 0);
}

/* Apply the writes of an edge (2, 3). */
static struct applied apply(struct track *t, i64 *new, struct batch *writes)
{
    struct applied done = {writes->passes ? STEP : 0, 0, 0};
    i64 first = t->c->o[O_MEMORY_ADDRESS], size = t->c->o[O_MEMORY_SIZE];
    memset(t->written, 0, sizeof t->written);
    for (i64 i = writes->samples; i < writes->end; i++) {
        i64 address = writes->address[i];
        if (address == CLEAR) {
            memcpy(new, t->c->reset_fields, FIELDS * sizeof *new);
            done.cleared = 1;
            if (writes->value[i]) {
                done.with_memory = 1;
                writes->samples = i + 1;
                writes->stores = 0;
            }
        } else if (first <= address && address < first + size) {
            writes->stores = 1;
        } else {
            apply_write(t, new, address, writes->value[i], &done);
        }
    }
    return done;
}

/* The power bit puts everything back; the memory takes what was written (3). */
static void clear(struct track *t, i64 edge, const i64 *new, const struct batch *writes, int with_memory)
{
    struct stepping *s = &t->steps;
    const i64 *o = t->c->o;
    i64 reset[S_STOPS + 1] = {0};
    int was = t->active;
    step_flush(s, edge);
    if (with_memory)
        memset(s->memory, 0, (size_t)o[O_TABLE_SAMPLES] * sizeof *s->memory);
    step_store(s, writes, 0, 0);
    s->now = edge;
    reset[S_ACTIVE] = o[O_AT_RESET] == AT_RESET_ACTIVE;
    reset[S_SHIFT_REGISTER] = o[O_REGISTER_SEED_VALUE];
    track_load(t, reset);
    if (was != t->active)
        signal_put(&t->activity, edge, t->active);
    track_resume(t, new);
    track_plan(t, new);
}

/* Whether the channel is active after the edge (8). */
static int activity_after(const struct track *t, const struct look *e, int stop, int expired, int faded, int ran_over)
{
    const i64 *o = t->c->o;
    if (!e->start)
        return t->active && !(stop || expired || faded || ran_over);
    int ends = expired && o[O_TIMER_EXPIRY_AND_START] == TIMER_EXPIRY_AND_START_EXPIRY;
    return !(ends || (ran_over && o[O_SWEEP_CHECK] != SWEEP_CHECK_AT_STEP));
}

/* Let some blocks do what they do at an edge (5, 6); return those that stop the channel. */
static int look_at(struct track *t, const struct look *e, int blocks, i64 *period)
{
    int stopping = 0;
    i64 last = e->edge - 1;
    if (blocks & TIMER) {
        if (t->active)
            timer_catch_up(&t->timer, t->c, last, e->old);
        t->timer.synced = e->edge;
        stopping |= timer_edge(&t->timer, t->c, e) ? TIMER : 0;
    }
    if (blocks & FADE) {
        if (t->active)
            fade_catch_up(&t->fade, t->c, last, e->old);
        t->fade.synced = e->edge;
        stopping |= fade_edge(&t->fade, t->c, e) ? FADE : 0;
    }
    if (blocks & GLIDE) {
        if (t->active)
            glide_catch_up(&t->glide, t->c, last, e->old);
        t->glide.synced = e->edge;
        stopping |= glide_edge(&t->glide, t->c, e, period) ? GLIDE : 0;
    }
    return stopping;
}

/* Put the result of a sweep step into the period (6). */
static void take_period(const struct track *t, i64 period, i64 *new)
{
    i64 rule = t->c->o[O_SWEEP_WRITE_AND_STEP], bits = t->written[F_PERIOD];
    if (bits == 0 || rule == SWEEP_WRITE_AND_STEP_STEP)
        new[F_PERIOD] = period;
    else if (rule == SWEEP_WRITE_AND_STEP_MERGE)
        new[F_PERIOD] = (new[F_PERIOD] & bits) | (period & ~bits);
}

/* Set when the blocks that were looked at act next. */
static void plan_looked(struct track *t, int looked, const i64 *f)
{
    if (looked & TIMER)
        timer_plan(&t->timer, t->c, f);
    if (looked & FADE)
        fade_plan(&t->fade, t->c, f);
    if (looked & GLIDE)
        glide_plan(&t->glide, t->c, f);
    i64 next = t->steps.ends_at;
    next = t->timer.at < next ? t->timer.at : next;
    next = t->fade.at < next ? t->fade.at : next;
    t->next_act = t->glide.at < next ? t->glide.at : next;
}

/* Let the blocks do what they do at an edge: those that are touched, and those that act by themselves. */
static void look(struct track *t, const struct look *e, i64 *new, int touches, int stop, const struct batch *writes)
{
    const i64 edge = e->edge, none = -1;
    struct stepping *s = &t->steps;
    i64 period = none, volume = t->fade.level;
    int has = (t->has_timer ? TIMER : 0) | (t->has_fade ? FADE : 0) | (t->has_glide ? GLIDE : 0);
    int due = (t->timer.at == edge ? TIMER : 0) | (t->fade.at == edge ? FADE : 0) | (t->glide.at == edge ? GLIDE : 0);
    int looked = (touches | due) & has;
    int stopping = look_at(t, e, looked, &period);
    t->watch.did.ran_out = (stopping & TIMER) != 0;
    t->watch.did.faded = (stopping & FADE) != 0;
    t->watch.did.over = (stopping & GLIDE) != 0;
    if (s->one_shot) {
        step_flush(s, edge);
        stop |= step_edge(s, e, writes);
    }
    int was = t->active;
    int active = activity_after(t, e, stop, stopping & TIMER, stopping & FADE, stopping & GLIDE);
    if (was && !active) { /* what was not looked at still does at this edge what it would have done */
        look_at(t, e, has & ~looked, &period);
        looked = has;
    }
    int stepping = touches & STEP || was != active || period != none || writes->stores || t->fade.level != volume;
    if (s->now < edge && stepping) {
        step_flush(s, edge);
        step_edge(s, e, writes);
    }
    if (was != active)
        signal_put(&t->activity, edge, active);
    t->active = active;
    t->watch.did.swept = period;
    if (period != none)
        take_period(t, period, new);
    if (s->now == edge)
        track_resume(t, new);
    if (e->start || was != active)
        track_plan(t, new);
    else
        plan_looked(t, looked, new);
}

/* Do what happens at an edge. */
void track_edge(struct track *t, i64 edge, struct batch *writes)
{
    const struct channel *c = t->c;
    const i64 *old = t->field[t->now_in];
    i64 *new = t->field[!t->now_in];
    struct did *did = &t->watch.did;
    *did = (struct did){.swept = -1};
    track_advance(t, edge);
    memcpy(new, old, sizeof t->field[0]);
    struct applied done = apply(t, new, writes);
    t->now_in = !t->now_in;
    watch_wrote(t, new);
    if (done.cleared) {
        did->cleared = 1;
        clear(t, edge, new, writes, done.with_memory);
        return;
    }
    if (c->o[O_GATE] && new[F_GATE] != old[F_GATE] && !did->quiet)
        ask(t, new[F_GATE] != 0);
    did->start = t->starts & 1;
    did->stop = t->stops & 1;
    t->starts &= ~(u64)1;
    t->stops &= ~(u64)1;
    if (!did->start && !t->active) {
        step_store(&t->steps, writes, 0, 0);
        return;
    }
    if (did->start || did->stop || t->shows)
        done.touches = TIMER | FADE | GLIDE | STEP;
    else if (!done.touches && !writes->stores && edge != t->next_act)
        return;
    const i64 *seen = c->o[O_START_DELAY] == 0 ? new : old;
    struct look e = {edge, did->start, t->active, old, new, seen, t->written};
    look(t, &e, new, done.touches, did->stop, writes);
}

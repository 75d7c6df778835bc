/* Track: one channel, event by event; equals track.py.
 *
 * Between two events everything goes on regularly; an event is an edge at which a register of the channel is written, a
 * strobe acts, the note timer runs out, the envelope or the sweep makes a step. What happens there is in edges.c.
 */
#include <string.h>

#include "kernel.h"

/* Take over the registers of a channel as they stand after edge `steps.now`; no strobes are on their way. */
void track_load(struct track *t, const i64 *state)
{
    struct stepping *s = &t->steps;
    t->active = state[S_ACTIVE] != 0;
    t->starts = t->stops = 0;
    s->count = state[S_COUNT];
    s->position = state[S_POSITION];
    s->sample = state[S_SAMPLE];
    s->contents = (u64)state[S_SHIFT_REGISTER];
    t->timer = (struct timer){state[S_TIMER], s->now, NEVER};
    t->fade = (struct fade){state[S_ENVELOPE_LEVEL], state[S_ENVELOPE_COUNT], s->now, NEVER};
    t->glide = (struct glide){state[S_SWEEP_COUNT], state[S_SWEEP_SHADOW], s->now, NEVER, state[S_SWEEP_FELL] != 0};
}

/* Let the stepping go on after its edge `now`. */
void track_resume(struct track *t, const i64 *f)
{
    int bypassed = !t->has_fade || f[F_ENVELOPE_BYPASS] == 1;
    step_resume(&t->steps, t->active, bypassed ? f[F_VOLUME] : t->fade.level, f);
}

static void sooner(i64 *edge, i64 other)
{
    if (other < *edge)
        *edge = other;
}

/* Set the next edge at which a block acts by itself; all of them plan anew. */
void track_plan(struct track *t, const i64 *f)
{
    t->next_act = t->steps.ends_at;
    if (!t->active)
        return;
    if (t->has_timer) {
        timer_plan(&t->timer, t->c, f);
        sooner(&t->next_act, t->timer.at);
    }
    if (t->has_fade) {
        fade_plan(&t->fade, t->c, f);
        sooner(&t->next_act, t->fade.at);
    }
    if (t->has_glide) {
        glide_plan(&t->glide, t->c, f);
        sooner(&t->next_act, t->glide.at);
    }
}

/* Make the track of a channel that stands in a state just before its first edge. */
static void track_begin(struct track *t, const i64 *const *in)
{
    const i64 *o = t->c->o;
    struct stepping *s = &t->steps;
    s->c = t->c;
    s->memory = (i64 *)in[IN_MEMORY];
    s->begin = o[O_BEGIN];
    s->now = s->begin - 1;
    s->down = o[O_STEP_NEW_VALUE] == STEP_NEW_VALUE_NEXT_STEP;
    s->clock = t->c->train[TRAIN_STEP].places ? &t->c->train[TRAIN_STEP] : NULL;
    s->one_shot = o[O_KIND] == KIND_WAVE && o[O_TABLE_AFTER_LAST] == TABLE_AFTER_LAST_STOP;
    s->size = o[O_POSITIONS];
    if (o[O_KIND] == KIND_NOISE) {
        shift_set(&s->shift[0], o, 0);
        if (o[O_HAS_SHORT])
            shift_set(&s->shift[1], o, 1);
    }
    t->has_timer = t->c->train[TRAIN_TIMER].places != 0;
    t->has_fade = t->c->train[TRAIN_ENVELOPE].places != 0;
    t->has_glide = t->c->train[TRAIN_SWEEP].places != 0;
    memcpy(t->field[0], in[IN_FIELDS], sizeof t->field[0]);
    track_load(t, in[IN_STATE]);
    t->starts = (u64)in[IN_STATE][S_STARTS];
    t->stops = (u64)in[IN_STATE][S_STOPS];
    t->anchor = s->begin;
    track_resume(t, t->field[0]);
    track_plan(t, t->field[0]);
}

/* The action of an address, or NULL where a write there does nothing to the channel. */
const i64 *action_at(const struct channel *c, i64 address)
{
    i64 low = 0, high = c->action_count;
    while (low < high) {
        i64 middle = low + (high - low) / 2;
        if (c->actions[middle * ACTION_COLUMNS + A_ADDRESS] < address)
            low = middle + 1;
        else
            high = middle;
    }
    const i64 *found = c->actions + low * ACTION_COLUMNS;
    return low < c->action_count && found[A_ADDRESS] == address ? found : NULL;
}

/* Whether an event of the unit concerns the channel. */
static int concerns(const struct channel *c, i64 address)
{
    i64 index = address - c->o[O_MEMORY_ADDRESS];
    return address == CLEAR || (0 <= index && index < c->o[O_MEMORY_SIZE]) || action_at(c, address & ~QUIET);
}

/* Registers just before the last edge of the run. */
static void track_save(struct track *t, i64 *state)
{
    const struct stepping *s = &t->steps;
    state[S_ACTIVE] = t->active;
    state[S_COUNT] = s->count;
    state[S_POSITION] = s->position;
    state[S_SAMPLE] = s->sample;
    state[S_SHIFT_REGISTER] = (i64)s->contents;
    state[S_TIMER] = t->timer.count;
    state[S_ENVELOPE_LEVEL] = t->fade.level;
    state[S_ENVELOPE_COUNT] = t->fade.count;
    state[S_SWEEP_COUNT] = t->glide.count;
    state[S_SWEEP_SHADOW] = t->glide.shadow;
    state[S_SWEEP_FELL] = t->glide.fell;
    state[S_STARTS] = (i64)t->starts;
    state[S_STOPS] = (i64)t->stops;
}

/* Bring everything up to the last edge. */
static void track_end(struct track *t, const i64 *const *in)
{
    i64 end = t->c->o[O_END];
    const i64 *f = t->field[t->now_in];
    step_flush(&t->steps, end);
    if (t->active && t->has_timer)
        timer_catch_up(&t->timer, t->c, end - 1, f);
    if (t->active && t->has_fade)
        fade_catch_up(&t->fade, t->c, end - 1, f);
    if (t->active && t->has_glide)
        glide_catch_up(&t->glide, t->c, end - 1, f);
    track_advance(t, end);
    track_save(t, (i64 *)in[IN_STATE]);
    memcpy((i64 *)in[IN_FIELDS], f, sizeof t->field[0]);
}

/* Go past the entries of a list that stand at an edge; return whether there are any. */
static int pass_entries(const i64 *list, i64 size, i64 *next, i64 edge)
{
    i64 from = *next;
    while (*next < size && list[*next] == edge)
        ++*next;
    return *next > from;
}

/* Run a channel over its events; the track is all zero before. */
void track_run(struct track *t, const i64 *const *in, const i64 *sizes)
{
    const i64 *edges = in[IN_EDGE], *passes = in[IN_PASSES], *marks = in[IN_MARKS];
    i64 next = 0, pass = 0, mark = 0, end = t->c->o[O_END];
    track_begin(t, in);
    while (!t->steps.out.failed && !t->activity.failed && !t->watch.failed) {
        while (next < sizes[IN_EDGE] && !concerns(t->c, in[IN_ADDRESS][next]))
            next++;
        i64 own = t->next_act, edge = NEVER;
        if (t->starts | t->stops)
            sooner(&own, t->anchor + __builtin_ctzll(t->starts | t->stops));
        if (pass < sizes[IN_PASSES])
            edge = passes[pass];
        if (mark < sizes[IN_MARKS])
            sooner(&edge, marks[mark]);
        if (next < sizes[IN_EDGE])
            sooner(&edge, edges[next]);
        sooner(&edge, own);
        if (edge >= end)
            break;
        struct batch writes = {in[IN_ADDRESS], in[IN_VALUE], next, next, 0, 0};
        int happens = pass_entries(edges, sizes[IN_EDGE], &next, edge);
        writes.end = next;
        writes.passes = pass_entries(passes, sizes[IN_PASSES], &pass, edge);
        happens |= pass_entries(marks, sizes[IN_MARKS], &mark, edge) || edge == own;
        if (t->c->o[O_WATCHED] && (happens || step_ends(&t->steps, edge))) /* a restart may end a wave sooner */
            watch_begin(t, edge);
        track_edge(t, edge, &writes);
        watch_end(t, edge, &writes);
    }
    if (!t->watch.failed)
        watch_pass(t, end);
    track_end(t, in);
}

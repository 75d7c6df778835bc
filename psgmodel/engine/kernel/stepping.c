/* Stepping: step counter, position, sample register, wave memory and shift register; equals stepping.py. */
#include "kernel.h"

/* Counts of one step. */
i64 step_length(const struct channel *c, const i64 *f)
{
    const i64 *o = c->o;
    if (o[O_KIND] == KIND_NOISE)
        return c->divisors[f[F_DIVISOR]] << f[F_SHIFT];
    if (o[O_STEP_RULE] == STEP_RULE_UP_FROM)
        return o[O_STEP_SCALE] * (f[F_PERIOD] + o[O_STEP_OFFSET]);
    return o[O_STEP_SCALE] * (o[O_STEP_TOP] - f[F_PERIOD]);
}

/* Whether the clock setting is one that stops. */
int step_stopped(const struct channel *c, const i64 *f)
{
    return c->o[O_KIND] == KIND_NOISE && (c->o[O_STOPPED] >> f[F_SHIFT] & 1);
}

/* Set up the stretch that runs after edge `now`: next step, mode, volume. */
void step_resume(struct stepping *s, int active, i64 volume, const i64 *f)
{
    s->active = active;
    s->volume = volume;
    s->pattern = f[F_PATTERN];
    s->short_mode = s->c->o[O_HAS_SHORT] && f[F_SHORT] == 1;
    s->stretch = s->now > s->begin ? s->now : s->begin;
    s->first = s->ends_at = NEVER;
    s->length = step_length(s->c, f);
    s->runs = active && !step_stopped(s->c, f);
    if (!s->runs)
        return;
    i64 wait = s->down ? s->count + 1 : s->length > s->count ? s->length - s->count : 1;
    s->first = s->clock ? train_nth_after(s->clock, s->now, wait) : held_sum(s->now, wait);
    if (s->one_shot) {
        i64 spread = held_product(s->length, s->clock ? s->clock->every : 1);
        s->ends_at = held_sum(s->first, held_product(s->size - 1 - s->position, spread));
    }
}

/* Counts after edge `after` up to and with edge `last`. */
static i64 counts_between(const struct stepping *s, i64 after, i64 last)
{
    return s->clock ? train_between(s->clock, after, last) : last - after;
}

/* Cycles from one step of the running stretch to the next. */
static i64 spread_of(const struct stepping *s)
{
    return held_product(s->length, s->clock ? s->clock->every : 1);
}

struct stood step_before(const struct stepping *s, i64 edge)
{
    i64 last = edge - 1, spread = spread_of(s);
    struct stood at = {s->first > last ? 0 : (last - s->first) / spread + 1, s->count, s->position};
    if (at.steps) {
        i64 since = counts_between(s, s->first + (at.steps - 1) * spread, last);
        at.count = s->down ? s->length - 1 - since : since;
        if (s->size)
            at.position = (s->position + at.steps % s->size) % s->size;
    } else if (s->runs) {
        i64 ran = counts_between(s, s->now, last);
        at.count += s->down ? -ran : ran;
    }
    return at;
}

int step_ends(const struct stepping *s, i64 edge)
{
    if (!s->one_shot || !s->runs || (s->clock && !train_at(s->clock, edge)))
        return 0;
    struct stood at = step_before(s, edge);
    return at.position == s->size - 1 && (s->down ? at.count == 0 : at.count + 1 >= s->length);
}

/* Close the running stretch before an edge: write it out, bring the step counter up to `edge` - 1. */
void step_flush(struct stepping *s, i64 edge)
{
    struct stood at = step_before(s, edge);
    if (s->stretch < edge)
        play_stretch(s, at.steps, spread_of(s));
    s->count = at.count;
    s->position = at.position;
    s->made += at.steps;
    if (at.steps && s->c->o[O_KIND] == KIND_WAVE)
        s->sample = s->memory[s->position];
    s->now = edge - 1;
}

/* The step counter at an edge; return whether a new step begins. */
static int counter_edge(struct stepping *s, const struct look *e)
{
    const struct channel *c = s->c;
    const i64 *f = c->o[O_STEP_WRITE_AND_STEP] == STEP_WRITE_AND_STEP_NEW ? e->new : e->old;
    if (e->start && c->o[O_STEP_ON_START] == STEP_ON_START_RELOAD) {
        s->count = s->down ? step_length(c, e->seen) - 1 : 0;
        return 0;
    }
    if (!e->active || step_stopped(c, f) || (s->clock && !train_at(s->clock, e->edge)))
        return 0;
    int advance = s->down ? s->count == 0 : s->count + 1 >= step_length(c, f);
    if (advance)
        s->count = s->down ? step_length(c, f) - 1 : 0;
    else
        s->count += s->down ? -1 : 1;
    return advance;
}

/* Step counter, position, sample and shift register at an edge; return whether a wave that ends has ended. */
int step_edge(struct stepping *s, const struct look *e, const struct batch *writes)
{
    const i64 *o = s->c->o;
    i64 sounding = s->position;
    int advance = counter_edge(s, e);
    s->made += advance;
    s->now = e->edge;
    if (o[O_KIND] == KIND_NOISE) {
        if (e->start && o[O_REGISTER_ON_START] == REGISTER_ON_START_RESEED)
            s->contents = (u64)o[O_REGISTER_SEED_VALUE];
        else if (advance)
            s->contents = shift_once(&s->shift[s->short_mode], s->contents);
        return 0;
    }
    int reset = e->start && o[O_POSITION_ON_START] == POSITION_ON_START_RESET;
    if (reset)
        s->position = o[O_KIND] == KIND_WAVE ? o[O_TABLE_START_POSITION] : 0;
    else if (advance)
        s->position = (s->position + 1) % s->size;
    if (o[O_KIND] == KIND_WAVE) {
        if ((advance && !reset) || (e->start && o[O_TABLE_FIRST_SAMPLE] == TABLE_FIRST_SAMPLE_FRESH))
            s->sample = s->memory[s->position];
        step_store(s, writes, e->active, sounding);
    }
    return s->one_shot && advance && !reset && s->position == 0;
}

/* Put the samples of one write to one address into the wave memory. */
static void store_samples(struct stepping *s, i64 address, i64 data)
{
    const i64 *o = s->c->o;
    i64 each = o[O_TABLE_PER_ADDRESS], bits = o[O_TABLE_BITS];
    for (i64 k = 0; k < each; k++) {
        i64 place = o[O_TABLE_ORDER] == TABLE_ORDER_LOW_FIRST ? k : each - 1 - k;
        s->memory[address * each + k] = data >> (place * bits) & ((INT64_C(1) << bits) - 1);
    }
}

/* Write to the wave memory, as `while_playing` says. */
void step_store(struct stepping *s, const struct batch *writes, int playing, i64 position)
{
    const i64 *o = s->c->o;
    if (!writes->stores || (playing && o[O_TABLE_WHILE_PLAYING] == TABLE_WHILE_PLAYING_IGNORED))
        return;
    int redirected = playing && o[O_TABLE_WHILE_PLAYING] == TABLE_WHILE_PLAYING_REDIRECTED;
    for (i64 i = writes->samples; i < writes->end; i++) {
        i64 address = writes->address[i] - o[O_MEMORY_ADDRESS];
        if (0 <= address && address < o[O_MEMORY_SIZE])
            store_samples(s, redirected ? position / o[O_TABLE_PER_ADDRESS] : address, writes->value[i]);
    }
}

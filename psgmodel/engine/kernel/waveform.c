/* Waveform: from a stretch of regular stepping to changes of level; equals expand.py and sounding.py.
 *
 * Patterns and wave memories are walked change by change once a stretch is longer than two turns, noise 32 shifts at a
 * time; a stretch in which nothing can be heard is jumped over. So the cost follows changes, not steps.
 */
#include "kernel.h"

enum { JUMP_FROM = 4096 /* shifts from which a jump is cheaper than shifting */ };

/* What the channel's level is for a raw value at the volume of the stretch. */
static i64 level_of(const struct stepping *s, i64 raw)
{
    const struct channel *c = s->c;
    const i64 *o = c->o;
    i64 loudness = c->volumes ? c->volume_table[s->volume] : s->volume;
    if (o[O_KIND] != KIND_WAVE)
        return o[O_LEVELS] == LEVELS_UNIPOLAR ? raw * loudness : (2 * raw - 1) * loudness;
    i64 sample = raw - (o[O_LEVELS] == LEVELS_BIPOLAR ? INT64_C(1) << (o[O_TABLE_BITS] - 1) : 0);
    if (o[O_TABLE_VOLUME] == TABLE_VOLUME_MULTIPLY)
        return sample * loudness >> o[O_TABLE_VOLUME_SHIFT];
    i64 quieter = (INT64_C(1) << o[O_VOLUME_BITS]) - 1 - s->volume;
    return sample >> (quieter < 63 ? quieter : 63);
}

/* The raw value at a position of a pattern or wave memory. */
static i64 raw_at(const struct stepping *s, i64 position)
{
    return s->c->o[O_KIND] == KIND_WAVE ? s->memory[position] : s->c->patterns[s->pattern * s->size + position];
}

/* The output bit as it sounds, of a noise register in its mode. */
static i64 noise_bit(const struct stepping *s)
{
    i64 bit = (i64)(s->contents >> (s->shift[s->short_mode].output - 1) & 1);
    return bit ^ (s->c->o[O_REGISTER_POLARITY] == REGISTER_POLARITY_LOW);
}

/* The level from the beginning of the stretch up to its first step. */
static i64 standing_level(const struct stepping *s)
{
    if (!s->active)
        return s->c->o[O_IDLE_LEVEL];
    if (s->c->o[O_KIND] == KIND_NOISE)
        return level_of(s, noise_bit(s));
    if (s->c->o[O_KIND] == KIND_WAVE && s->c->o[O_TABLE_FETCH] == TABLE_FETCH_EACH_STEP)
        return level_of(s, s->sample);
    return level_of(s, raw_at(s, s->position));
}

/* A few steps through a pattern or wave memory, one by one. */
static void play_steps(struct stepping *s, i64 steps, i64 spread)
{
    i64 at = s->position;
    for (i64 step = 0; step < steps; step++) {
        at = at + 1 < s->size ? at + 1 : 0;
        signal_put(&s->out, s->first + step * spread, level_of(s, raw_at(s, at)));
    }
}

/* Many steps through a pattern or wave memory: its changes are listed once and gone through turn by turn. */
static void play_turns(struct stepping *s, i64 steps, i64 spread)
{
    i64 count = 0, number = 0, size = s->size;
    for (i64 i = 0; i < size; i++)
        s->level[i] = level_of(s, raw_at(s, i));
    for (i64 i = 0; i < size; i++)
        if (s->level[i] != s->level[i ? i - 1 : size - 1])
            s->changed[count++] = i;
    /* The first step fetches, whatever stood before it. */
    i64 begin = s->position + 1 < size ? s->position + 1 : 0;
    signal_put(&s->out, s->first, s->level[begin]);
    if (count == 0)
        return;
    while (number < count && s->changed[number] <= begin)
        number++;
    /* Invariant: everything before change `number` of this turn is written; step 1 of the stretch is at `begin`. */
    for (i64 turn = 0;; turn += size, number = 0)
        for (; number < count; number++) {
            i64 step = turn + s->changed[number] - begin;
            if (step >= steps || s->out.failed)
                return;
            signal_put(&s->out, s->first + step * spread, s->level[s->changed[number]]);
        }
}

/* Write the changes within up to 32 shifts: bit i of `toggles` says that the level changes at `first` + i * spread. */
static void put_toggles(struct signal *out, u64 toggles, i64 first, i64 spread, const i64 *levels, int bit)
{
    if (!signal_reserve(out, SHIFTS_AT_ONCE))
        return;
    i64 size = out->size;
    for (; toggles; toggles &= toggles - 1) {
        bit ^= 1;
        out->cycle[size] = first + __builtin_ctzll(toggles) * spread;
        out->level[size++] = (int32_t)levels[bit];
    }
    out->size = size;
}

/* Steps of a noise register, the first one at edge `first`. */
static void play_noise(struct stepping *s, i64 first, i64 steps, i64 spread)
{
    struct shift *shift = &s->shift[s->short_mode];
    int low = s->c->o[O_REGISTER_POLARITY] == REGISTER_POLARITY_LOW;
    i64 levels[2] = {level_of(s, low), level_of(s, !low)}; /* by output bit */
    if (levels[0] == levels[1] && steps >= JUMP_FROM) {
        s->contents = shift_jump(shift, s->contents, steps);
        return;
    }
    u64 last = s->contents >> (shift->output - 1) & 1, outputs;
    i64 done = 0;
    for (; steps - done >= SHIFTS_AT_ONCE && !s->out.failed; done += SHIFTS_AT_ONCE) {
        s->contents = shift_many(shift, s->contents, &outputs);
        if (levels[0] != levels[1])
            put_toggles(&s->out, outputs ^ (outputs << 1 & 0xFFFFFFFF) ^ last, first + done * spread, spread, levels,
                        (int)last);
        last = outputs >> (SHIFTS_AT_ONCE - 1);
    }
    for (; done < steps && !s->out.failed; done++) {
        s->contents = shift_once(shift, s->contents);
        signal_put(&s->out, first + done * spread, levels[s->contents >> (shift->output - 1) & 1]);
    }
}

/* Write out the stretch: its beginning, and `steps` steps that lie `spread` cycles apart. */
void play_stretch(struct stepping *s, i64 steps, i64 spread)
{
    int begins_at_step = steps && s->first == s->stretch; /* as a run may */
    if (!begins_at_step)
        signal_put(&s->out, s->stretch, standing_level(s));
    if (!steps)
        return;
    if (s->c->o[O_KIND] != KIND_NOISE) {
        (steps > 2 * s->size ? play_turns : play_steps)(s, steps, spread);
        return;
    }
    if (begins_at_step) {
        s->contents = shift_once(&s->shift[s->short_mode], s->contents);
        signal_put(&s->out, s->stretch, level_of(s, noise_bit(s)));
    }
    if (steps > begins_at_step)
        play_noise(s, begins_at_step ? s->first + spread : s->first, steps - begins_at_step, spread);
}
